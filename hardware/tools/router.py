"""A grid router for two layers: A*, with ripping up what is in the way.

Nets are routed one after another between their pads. Copper of another class keeps the distance of
domains.clearance; live tracks end left of the barrier, safe ones right of it. A net that finds no way
is routed through the tracks of others, which are then taken up and routed again. Limits: no track
is moved aside, no lengths are matched, tracks are 0.2 mm on a grid of 0.25 mm.
"""

import heapq
from math import ceil, floor

from domains import clearance

GRID = 0.25
TRACK, VIA, DRILL = 0.2, 0.6, 0.3
EDGE = 0.5
VIA_COST, SOFT_COST = 12.0, 40.0
STEPS = [(1, 0, 1.0), (-1, 0, 1.0), (0, 1, 1.0), (0, -1, 1.0), (1, 1, 1.42), (1, -1, 1.42), (-1, 1, 1.42), (-1, -1, 1.42)]


class Router:
    def __init__(self, width, height, kinds, limits, slots):
        self.nx, self.ny = int(width / GRID) + 1, int(height / GRID) + 1
        self.kinds, self.limits = kinds, limits
        self.pads = []  # (net, layers, x1, y1, x2, y2, has hole)
        self.tracks = {}  # net: [(layer, (i, j), (i, j))], net: [(i, j)]
        self.vias = {}
        self.base = bytearray(self.nx * self.ny)
        self._frame(slots)

    def _frame(self, slots):
        self._paint(self.base, -1, -1, EDGE, (self.ny + 1) * GRID)
        self._paint(self.base, (self.nx - 1) * GRID - EDGE, -1, self.nx * GRID + 1, (self.ny + 1) * GRID)
        self._paint(self.base, -1, -1, (self.nx + 1) * GRID, EDGE)
        self._paint(self.base, -1, (self.ny - 1) * GRID - EDGE, (self.nx + 1) * GRID, self.ny * GRID + 1)
        for x, y1, y2, w in slots:
            self._paint(self.base, x - w / 2 - EDGE, y1 - EDGE, x + w / 2 + EDGE, y2 + EDGE)

    def _paint(self, field, x1, y1, x2, y2):
        i1, i2 = max(0, ceil(x1 / GRID - 1e-6)), min(self.nx - 1, floor(x2 / GRID + 1e-6))
        j1, j2 = max(0, ceil(y1 / GRID - 1e-6)), min(self.ny - 1, floor(y2 / GRID + 1e-6))
        if i1 > i2:
            return
        ones = b"\x01" * (i2 - i1 + 1)
        for j in range(j1, j2 + 1):
            field[j * self.nx + i1:j * self.nx + i2 + 1] = ones

    def pad(self, net, layers, x1, y1, x2, y2, hole):
        self.pads.append((net, layers, x1, y1, x2, y2, hole))

    def _fields(self, net):
        """Blocked cells a layer for tracks and for vias, hard (pads) and soft (tracks of others)."""
        kind = self.kinds.get(net, "SAFE")
        size = self.nx * self.ny
        hard = [bytearray(self.base), bytearray(self.base)]
        hard_via = bytearray(self.base)
        soft = [bytearray(size), bytearray(size)]
        soft_via = bytearray(size)
        low, high = self.limits["SAFE" if kind == "SAFE" else "LIVE"]
        for field in (*hard, hard_via):
            self._paint(field, -1, -1, low - GRID / 2, self.ny * GRID)
            self._paint(field, high + GRID / 2, -1, self.nx * GRID, self.ny * GRID)
        for other, layers, x1, y1, x2, y2, hole in self.pads:
            if other == net:
                if hole:
                    continue
                # No via in a pad.
                self._paint(hard_via, x1 - VIA / 2, y1 - VIA / 2, x2 + VIA / 2, y2 + VIA / 2)
                continue
            gap = min(clearance(kind, self.kinds.get(other, "SAFE")), 3.0) if other else 0.25
            a, b = gap + TRACK / 2, gap + VIA / 2
            for layer in layers:
                self._paint(hard[layer], x1 - a, y1 - a, x2 + a, y2 + a)
            self._paint(hard_via, x1 - b, y1 - b, x2 + b, y2 + b)
        for other, runs in self.tracks.items():
            if other == net:
                continue
            gap = min(clearance(kind, self.kinds.get(other, "SAFE")), 3.0)
            for layer, p, q in runs:
                self._line(soft[layer], p, q, gap + TRACK)
                self._line(soft_via, p, q, gap + TRACK / 2 + VIA / 2)
            for i, j in self.vias.get(other, ()):
                x, y, a, b = i * GRID, j * GRID, gap + VIA / 2 + TRACK / 2, gap + VIA
                for layer in (0, 1):
                    self._paint(soft[layer], x - a, y - a, x + a, y + a)
                self._paint(soft_via, x - b, y - b, x + b, y + b)
        return hard, hard_via, soft, soft_via

    def _line(self, field, p, q, r):
        (x1, y1), (x2, y2) = p, q
        if x1 == x2 or y1 == y2:
            self._paint(field, min(x1, x2) * GRID - r, min(y1, y2) * GRID - r, max(x1, x2) * GRID + r, max(y1, y2) * GRID + r)
            return
        steps = abs(x2 - x1)
        dx, dy = (x2 - x1) // steps, (y2 - y1) // steps
        for k in range(0, steps + 1):
            x, y = (x1 + k * dx) * GRID, (y1 + k * dy) * GRID
            self._paint(field, x - r, y - r, x + r, y + r)

    def _cells(self, pad):
        _, layers, x1, y1, x2, y2, _ = pad
        i1, i2 = ceil(x1 / GRID - 1e-6), floor(x2 / GRID + 1e-6)
        j1, j2 = ceil(y1 / GRID - 1e-6), floor(y2 / GRID + 1e-6)
        if i1 > i2:
            i1 = i2 = round((x1 + x2) / 2 / GRID)
        if j1 > j2:
            j1 = j2 = round((y1 + y2) / 2 / GRID)
        return {(layer, i, j) for layer in layers for i in range(i1, i2 + 1) for j in range(j1, j2 + 1)}

    def route(self, net, may_rip):
        """Joins all pads of a net; the nets that stood in the way, or None where no way was found."""
        pads = [pad for pad in self.pads if pad[0] == net]
        if len(pads) < 2:
            return set()
        hard, hard_via, soft, soft_via = self._fields(net)
        groups = [self._cells(pad) for pad in pads]
        free = set().union(*groups)
        done, left = set(groups[0]), groups[1:]
        runs, vias, crossed_cells = [], [], []
        while left:
            if any(group & done for group in left):
                done = done.union(*[group for group in left if group & done])
                left = [group for group in left if not group & done]
                continue
            goals = set().union(*left)
            gi = [g[1] for g in goals]
            gj = [g[2] for g in goals]
            box = (min(gi), max(gi), min(gj), max(gj))
            path = self._search(done, goals, box, hard, hard_via, soft, soft_via, free, may_rip)
            if path is None:
                return None
            for cell in path:
                layer, i, j = cell
                if soft[layer][j * self.nx + i]:
                    crossed_cells.append(cell)
            previous = None
            for a, b in zip(path, path[1:]):
                if a[0] != b[0]:
                    vias.append((a[1], a[2]))
                    if soft_via[a[2] * self.nx + a[1]]:
                        crossed_cells.append(("via", a[1], a[2]))
                    previous = None
                    continue
                step = (a[0], b[1] - a[1], b[2] - a[2])
                if step == previous:
                    layer, start, _ = runs[-1]
                    runs[-1] = (layer, start, (b[1], b[2]))
                else:
                    runs.append((a[0], (a[1], a[2]), (b[1], b[2])))
                previous = step
            done |= set(path)
            hit = [group for group in left if path[-1] in group]
            for group in hit:
                done |= group
                left.remove(group)
        crossed = self._owners(net, crossed_cells) if crossed_cells else set()
        self.tracks[net], self.vias[net] = runs, vias
        return crossed

    def _owners(self, net, cells):
        kind = self.kinds.get(net, "SAFE")
        found = set()
        for other, runs in self.tracks.items():
            if other == net:
                continue
            gap = min(clearance(kind, self.kinds.get(other, "SAFE")), 3.0)
            fields = [bytearray(self.nx * self.ny), bytearray(self.nx * self.ny)]
            via = bytearray(self.nx * self.ny)
            for layer, p, q in runs:
                self._line(fields[layer], p, q, gap + TRACK)
                self._line(via, p, q, gap + TRACK / 2 + VIA / 2)
            for i, j in self.vias.get(other, ()):
                x, y, a, b = i * GRID, j * GRID, gap + VIA / 2 + TRACK / 2, gap + VIA
                for field in fields:
                    self._paint(field, x - a, y - a, x + a, y + a)
                self._paint(via, x - b, y - b, x + b, y + b)
            for layer, i, j in cells:
                if (via if layer == "via" else fields[layer])[j * self.nx + i]:
                    found.add(other)
                    break
        return found

    def _search(self, starts, goals, box, hard, hard_via, soft, soft_via, free, may_rip):
        nx = self.nx
        left, right, top, bottom = box

        def far(i, j):
            dx = left - i if i < left else i - right if i > right else 0
            dy = top - j if j < top else j - bottom if j > bottom else 0
            return max(dx, dy) + 0.42 * min(dx, dy)

        cost = {cell: 0.0 for cell in starts}
        came = {}
        work = [(far(c[1], c[2]), 0.0, c) for c in starts]
        heapq.heapify(work)
        while work:
            _, spent, cell = heapq.heappop(work)
            if spent > cost[cell]:
                continue
            if cell in goals:
                path = [cell]
                while cell in came:
                    cell = came[cell]
                    path.append(cell)
                return path[::-1]
            layer, i, j = cell
            for di, dj, price in STEPS:
                x, y = i + di, j + dj
                if not (0 <= x < nx and 0 <= y < self.ny):
                    continue
                at = y * nx + x
                other = (layer, x, y)
                if hard[layer][at] and other not in free:
                    continue
                if soft[layer][at]:
                    if not may_rip:
                        continue
                    price += SOFT_COST
                total = spent + price
                if total < cost.get(other, 1e9):
                    cost[other], came[other] = total, cell
                    heapq.heappush(work, (total + far(x, y), total, other))
            at = j * nx + i
            other = (1 - layer, i, j)
            if not hard_via[at] and (may_rip or not soft_via[at]) and not hard[1 - layer][at]:
                total = spent + VIA_COST + (SOFT_COST * 3 if soft_via[at] else 0)
                if total < cost.get(other, 1e9):
                    cost[other], came[other] = total, cell
                    heapq.heappush(work, (total + far(i, j), total, other))
            elif other in free and cell in free:
                # A plated hole joins the layers.
                if spent < cost.get(other, 1e9):
                    cost[other], came[other] = spent, cell
                    heapq.heappush(work, (spent + far(i, j), spent, other))
        return None

    def route_all(self, order, rounds=400, say=print):
        """Routes `order`; the nets that stayed open."""
        queue, tries, failed = list(order), {}, set()
        while queue and rounds:
            net = queue.pop(0)
            rounds -= 1
            tries[net] = tries.get(net, 0) + 1
            crossed = self.route(net, may_rip=False)
            if crossed is None:
                crossed = self.route(net, may_rip=True) if tries[net] <= 8 else None
                if crossed is None:
                    failed.add(net)
                    say(f"no way: {net}")
                    continue
            failed.discard(net)
            for other in crossed:
                self.tracks.pop(other, None)
                self.vias.pop(other, None)
                queue.append(other)
        return sorted(failed | set(queue))
