"""S-expressions as KiCad writes them: nested lists of atoms; quoted atoms are `Text`."""

import re
import uuid

_TOKEN = re.compile(r'\s*(?:(\()|(\))|"((?:\\.|[^"\\])*)"|([^\s()"]+))')
_SPACE = uuid.UUID("6f1d6f0e-5d0c-5d1c-9d61-51075715e000")


class Text(str):
    """An atom that is written in quotes."""


def parse(text):
    """The one expression in `text`."""
    stack, place = [[]], 0
    while True:
        match = _TOKEN.match(text, place)
        if not match:
            break
        place = match.end()
        if match[1]:
            stack.append([])
        elif match[2]:
            done = stack.pop()
            stack[-1].append(done)
        elif match[3] is not None:
            stack[-1].append(Text(re.sub(r"\\(.)", r"\1", match[3])))
        else:
            stack[-1].append(match[4])
    if len(stack) != 1 or len(stack[0]) != 1:
        raise ValueError("not one balanced expression")
    return stack[0][0]


def _atom(value):
    if isinstance(value, Text):
        return '"' + value.replace("\\", "\\\\").replace('"', '\\"').replace("\n", "\\n") + '"'
    if isinstance(value, float):
        return f"{value:.4f}".rstrip("0").rstrip(".") if value else "0"
    return str(value)


def write(node, depth=0):
    """`node` as text, one list a line, atoms of a list on its first line."""
    if not isinstance(node, list):
        return _atom(node)
    head = []
    rest = list(node)
    while rest and not isinstance(rest[0], list):
        head.append(_atom(rest.pop(0)))
    out = "\t" * depth + "(" + " ".join(head)
    if not rest:
        return out + ")"
    if sum(isinstance(item, list) for item in rest) == len(rest) and all(
        not any(isinstance(part, list) for part in item) for item in rest
    ) and len(rest) <= 2:
        return out + " " + " ".join(write(item).strip() for item in rest) + ")"
    for item in rest:
        out += "\n" + (write(item, depth + 1) if isinstance(item, list) else "\t" * (depth + 1) + _atom(item))
    return out + "\n" + "\t" * depth + ")"


def find(node, name):
    """First list in `node` that begins with `name`, or None."""
    return next(find_all(node, name), None)


def find_all(node, name):
    """Every list in `node` that begins with `name`."""
    return (item for item in node if isinstance(item, list) and item and item[0] == name)


def ident(*words):
    """A UUID that depends on the words alone, so that a second run writes the same file."""
    return Text(str(uuid.uuid5(_SPACE, "/".join(str(word) for word in words))))
