// A grid router for two layers: A*, taking up what is in the way and routing it again.
//
// Reads a problem from standard input, writes tracks and vias to standard output; make_board.py
// compiles and runs it. Lengths are in cells of the grid but for those marked mm.
//
//   grid nx ny cell_mm track_mm via_mm edge_mm
//   kinds n, then n x n distances in mm
//   limits kind low high            (columns that tracks of this kind stay within)
//   block x1 y1 x2 y2               (mm: nothing here)
//   net id kind                     (in the order of routing)
//   pad net layers x1 y1 x2 y2 then the same of where tracks may end, hole
//                                   (mm; net -1 is none; layers 1 top, 2 bottom, 3 both)
//   go
//
// Out: track net layer x1 y1 x2 y2, via net x y, open net.
// Limits: no track is moved aside; distances are kept in squares, not circles.

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <deque>
#include <iostream>
#include <map>
#include <queue>
#include <set>
#include <sstream>
#include <string>
#include <vector>

struct Pad { int net, layers; double x1, y1, x2, y2, ix1, iy1, ix2, iy2; bool hole; };
struct Run { int layer, x1, y1, x2, y2; };
using Field = std::vector<uint8_t>;

static int nx, ny;
static double cell, track, via, edge_gap;
static std::vector<std::vector<double>> apart;
static std::map<int, std::pair<int, int>> limits;
static std::map<int, int> kind_of;
static std::vector<Pad> pads;
static std::vector<int> order;
static std::map<int, std::vector<Run>> tracks;
static std::map<int, std::vector<std::pair<int, int>>> vias;
static Field base;
static std::vector<float> history[2];

static const float VIA_COST = 12, SOFT_COST = 30;

static void paint(Field &f, double x1, double y1, double x2, double y2) {
    int i1 = std::max(0, (int)std::ceil(x1 / cell - 1e-6)), i2 = std::min(nx - 1, (int)std::floor(x2 / cell + 1e-6));
    int j1 = std::max(0, (int)std::ceil(y1 / cell - 1e-6)), j2 = std::min(ny - 1, (int)std::floor(y2 / cell + 1e-6));
    for (int j = j1; j <= j2; j++)
        for (int i = i1; i <= i2; i++) f[(size_t)j * nx + i] = 1;
}

static void paint_run(Field &f, const Run &r, double d) {
    int n = std::max(std::abs(r.x2 - r.x1), std::abs(r.y2 - r.y1));
    int dx = (r.x2 > r.x1) - (r.x2 < r.x1), dy = (r.y2 > r.y1) - (r.y2 < r.y1);
    for (int k = 0; k <= n; k++) {
        double x = (r.x1 + k * dx) * cell, y = (r.y1 + k * dy) * cell;
        paint(f, x - d, y - d, x + d, y + d);
    }
}

static double gap(int a, int b) { return std::min(apart[kind_of[a]][kind_of[b]], 3.0); }

static void paint_net(int net, int other, Field soft[2], Field &soft_via) {
    double g = gap(net, other);
    for (auto &r : tracks[other]) {
        paint_run(soft[r.layer], r, g + track);
        paint_run(soft_via, r, g + track / 2 + via / 2);
    }
    for (auto &v : vias[other]) {
        double x = v.first * cell, y = v.second * cell, a = g + via / 2 + track / 2, b = g + via;
        for (int l = 0; l < 2; l++) paint(soft[l], x - a, y - a, x + a, y + a);
        paint(soft_via, x - b, y - b, x + b, y + b);
    }
}

static std::vector<int> cells_of(const Pad &p) {
    int i1 = (int)std::ceil(p.ix1 / cell - 1e-6), i2 = (int)std::floor(p.ix2 / cell + 1e-6);
    int j1 = (int)std::ceil(p.iy1 / cell - 1e-6), j2 = (int)std::floor(p.iy2 / cell + 1e-6);
    if (i1 > i2) i1 = i2 = (int)std::lround((p.x1 + p.x2) / 2 / cell);
    if (j1 > j2) j1 = j2 = (int)std::lround((p.y1 + p.y2) / 2 / cell);
    std::vector<int> found;
    for (int l = 0; l < 2; l++)
        if (p.layers & (1 << l))
            for (int j = j1; j <= j2; j++)
                for (int i = i1; i <= i2; i++) found.push_back((l * ny + j) * nx + i);
    return found;
}

// Joins the pads of a net. Returns false without a way; `crossed` are the nets in the way.
static bool route(int net, bool may_rip, std::set<int> &crossed) {
    size_t size = (size_t)nx * ny;
    Field hard[2] = {base, base}, hard_via = base, soft[2] = {Field(size), Field(size)}, soft_via(size);
    int kind = kind_of[net];
    auto [low, high] = limits[kind];
    for (int j = 0; j < ny; j++)
        for (int i = 0; i < nx; i++)
            if (i < low || i > high) hard[0][(size_t)j * nx + i] = hard[1][(size_t)j * nx + i] = hard_via[(size_t)j * nx + i] = 1;
    std::vector<std::vector<int>> groups;
    Field own(2 * size);
    for (auto &p : pads) {
        if (p.net == net) {
            groups.push_back(cells_of(p));
            for (int c : groups.back()) own[c] = p.hole ? 2 : 1;
            if (!p.hole) paint(hard_via, p.x1 - via / 2, p.y1 - via / 2, p.x2 + via / 2, p.y2 + via / 2);
            continue;
        }
        double g = p.net < 0 ? 0.55 : gap(net, p.net);
        for (int l = 0; l < 2; l++)
            if (p.layers & (1 << l)) paint(hard[l], p.x1 - g - track / 2, p.y1 - g - track / 2, p.x2 + g + track / 2, p.y2 + g + track / 2);
        paint(hard_via, p.x1 - g - via / 2, p.y1 - g - via / 2, p.x2 + g + via / 2, p.y2 + g + via / 2);
    }
    for (auto &t : tracks)
        if (t.first != net) paint_net(net, t.first, soft, soft_via);
    std::set<int> done(groups[0].begin(), groups[0].end());
    std::vector<std::vector<int>> left(groups.begin() + 1, groups.end());
    std::vector<Run> runs;
    std::vector<std::pair<int, int>> holes;
    std::vector<int> bad;
    std::vector<std::pair<int, int>> bad_vias;
    std::vector<float> cost(2 * size);
    std::vector<int> came(2 * size);
    while (!left.empty()) {
        std::fill(cost.begin(), cost.end(), 1e9f);
        std::fill(came.begin(), came.end(), -1);
        Field goal(2 * size);
        int bx1 = nx, bx2 = 0, by1 = ny, by2 = 0;
        for (auto &g : left)
            for (int c : g) {
                goal[c] = 1;
                int i = c % nx, j = c / nx % ny;
                bx1 = std::min(bx1, i), bx2 = std::max(bx2, i), by1 = std::min(by1, j), by2 = std::max(by2, j);
            }
        auto far = [&](int c) {
            int i = c % nx, j = c / nx % ny;
            int dx = i < bx1 ? bx1 - i : i > bx2 ? i - bx2 : 0, dy = j < by1 ? by1 - j : j > by2 ? j - by2 : 0;
            return std::max(dx, dy) + 0.41f * std::min(dx, dy);
        };
        using Item = std::pair<float, int>;
        std::priority_queue<Item, std::vector<Item>, std::greater<Item>> work;
        for (int c : done) cost[c] = 0, work.push({far(c), c});
        int end = -1;
        while (!work.empty()) {
            auto [f, c] = work.top();
            work.pop();
            if (f > cost[c] + far(c) + 1e-3) continue;
            if (goal[c]) { end = c; break; }
            int l = c / (nx * ny), i = c % nx, j = c / nx % ny;
            for (int dy = -1; dy <= 1; dy++)
                for (int dx = -1; dx <= 1; dx++) {
                    if (!dx && !dy) continue;
                    int x = i + dx, y = j + dy;
                    if (x < 0 || y < 0 || x >= nx || y >= ny) continue;
                    size_t at = (size_t)y * nx + x;
                    int o = (l * ny + y) * nx + x;
                    if (hard[l][at] && !own[o]) continue;
                    float price = dx && dy ? 1.414f : 1.0f;
                    if (soft[l][at]) {
                        if (!may_rip) continue;
                        price += SOFT_COST + history[l][at];
                    }
                    float total = cost[c] + price;
                    if (total < cost[o] - 1e-4f) cost[o] = total, came[o] = c, work.push({total + far(o), o});
                }
            size_t at = (size_t)j * nx + i;
            int o = ((1 - l) * ny + j) * nx + i;
            float total = 1e9f;
            if (own[c] == 2 && own[o] == 2) total = cost[c];
            else if (!hard_via[at] && !hard[1 - l][at] && (may_rip || !soft_via[at]))
                total = cost[c] + VIA_COST + (soft_via[at] ? 3 * SOFT_COST : 0);
            if (total < cost[o] - 1e-4f) cost[o] = total, came[o] = c, work.push({total + far(o), o});
        }
        if (end < 0) return false;
        std::vector<int> path;
        for (int c = end; c >= 0; c = came[c]) path.push_back(c);
        std::reverse(path.begin(), path.end());
        int px = 9, py = 9;
        for (size_t k = 0; k + 1 < path.size(); k++) {
            int a = path[k], b = path[k + 1];
            int la = a / (nx * ny), lb = b / (nx * ny), xa = a % nx, ya = a / nx % ny, xb = b % nx, yb = b / nx % ny;
            if (la != lb) {
                px = py = 9;
                if (!(own[a] == 2 && own[b] == 2)) {
                    holes.push_back({xa, ya});
                    if (soft_via[(size_t)ya * nx + xa]) bad_vias.push_back({xa, ya});
                }
                continue;
            }
            if (soft[lb][(size_t)yb * nx + xb]) bad.push_back(b);
            if (xb - xa == px && yb - ya == py) runs.back().x2 = xb, runs.back().y2 = yb;
            else runs.push_back({la, xa, ya, xb, yb}), px = xb - xa, py = yb - ya;
        }
        done.insert(path.begin(), path.end());
        for (size_t k = 0; k < left.size();) {
            bool met = std::any_of(left[k].begin(), left[k].end(), [&](int c) { return done.count(c) > 0; });
            if (met) {
                done.insert(left[k].begin(), left[k].end());
                left.erase(left.begin() + k);
                k = 0;
            } else k++;
        }
    }
    if (!bad.empty() || !bad_vias.empty())
        for (auto &t : tracks) {
            if (t.first == net || t.second.empty()) continue;
            Field f[2] = {Field(size), Field(size)}, v(size);
            paint_net(net, t.first, f, v);
            bool hit = std::any_of(bad.begin(), bad.end(), [&](int c) { return f[c / (nx * ny)][c % (nx * ny)]; }) ||
                       std::any_of(bad_vias.begin(), bad_vias.end(), [&](auto &p) { return v[(size_t)p.second * nx + p.first]; });
            if (hit) crossed.insert(t.first);
        }
    for (int c : bad) history[c / (nx * ny)][c % (nx * ny)] += 6;
    tracks[net] = runs;
    vias[net] = holes;
    return true;
}

int main() {
    std::string line, word;
    int kinds = 0;
    while (std::getline(std::cin, line)) {
        std::istringstream in(line);
        in >> word;
        if (word == "grid") {
            in >> nx >> ny >> cell >> track >> via >> edge_gap;
            base.assign((size_t)nx * ny, 0);
            for (auto &h : history) h.assign((size_t)nx * ny, 0);
        } else if (word == "kinds") {
            in >> kinds;
            apart.assign(kinds, std::vector<double>(kinds));
            for (auto &row : apart)
                for (auto &d : row) in >> d;
        } else if (word == "limits") {
            int k, a, b;
            in >> k >> a >> b;
            limits[k] = {a, b};
        } else if (word == "block") {
            double a, b, c, d;
            in >> a >> b >> c >> d;
            paint(base, a, b, c, d);
        } else if (word == "net") {
            int n, k, routed;
            in >> n >> k >> routed;
            kind_of[n] = k;
            if (routed) order.push_back(n);
        } else if (word == "pad") {
            Pad p;
            int hole;
            in >> p.net >> p.layers >> p.x1 >> p.y1 >> p.x2 >> p.y2 >> p.ix1 >> p.iy1 >> p.ix2 >> p.iy2 >> hole;
            p.hole = hole;
            pads.push_back(p);
        } else if (word == "go") break;
    }
    std::deque<int> queue(order.begin(), order.end());
    std::map<int, int> tries;
    std::set<int> open;
    int rounds = 3000;
    while (!queue.empty() && rounds-- > 0) {
        int net = queue.front();
        queue.pop_front();
        tries[net]++;
        std::set<int> crossed;
        bool found = route(net, false, crossed);
        if (!found && tries[net] <= 25) found = route(net, true, crossed);
        if (!found) {
            open.insert(net);
            continue;
        }
        open.erase(net);
        for (int other : crossed) {
            tracks[other].clear();
            vias[other].clear();
            queue.push_back(other);
        }
    }
    for (int n : queue) open.insert(n);
    for (auto &t : tracks)
        for (auto &r : t.second) std::printf("track %d %d %d %d %d %d\n", t.first, r.layer, r.x1, r.y1, r.x2, r.y2);
    for (auto &v : vias)
        for (auto &p : v.second) std::printf("via %d %d %d\n", v.first, p.first, p.second);
    for (int n : open) std::printf("open %d\n", n);
}
