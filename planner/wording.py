"""Turn the faults that pydantic finds into sentences that a grower can act on.

A sentence says where (the key path in words), what was found and what is allowed; the allowed
range is read from the model itself, so that it cannot differ from what is checked.
"""

import json
from calendar import month_name
from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from typing import Any

from pydantic import BaseModel, ValidationError

from planner.errors import nearest
from planner.quantities import NOT_A_NUMBER

Node = Mapping[str, Any]  # a node of a model's JSON schema
Key = str | int

_LONGEST = 40
_BY_MONTH = 12
_LABELS = ("name", "species")


def shown(value: object) -> str:
    """Return a value as a message shows it: quoted, on one line, not too long."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return f"a list of {len(value)}"
    if isinstance(value, str):
        short = value if len(value) <= _LONGEST else value[:_LONGEST] + "…"
        return json.dumps(short, ensure_ascii=False)
    text = str(value).removesuffix(".0")
    return text if len(text) <= _LONGEST else text[:_LONGEST] + "…"


def sentences(error: ValidationError, model: type[BaseModel], given: object) -> list[str]:
    """Return one sentence for each fault that pydantic found in `given`, in its order.

    `given` is the data as read, for the names of things such as `zone 2 "raft"`.
    """
    found: list[str] = []
    for fault in error.errors(include_url=False):
        keys = tuple(key for key in fault["loc"] if key != "[key]")
        for sentence in _sentences(fault, keys, model, given):
            if sentence not in found:
                found.append(sentence)
    return found


def _sentences(
    fault: Mapping[str, Any], keys: tuple[Key, ...], model: type[BaseModel], given: object
) -> Iterator[str]:
    steps = _walk(_schema(model), keys, given)
    place = "".join(f"{step}: " for step, _ in steps[:-1])
    name, node = steps[-1] if steps else ("the file", _schema(model))
    kind = fault["type"]
    value = _as_written(given, keys, fault["input"])
    if kind == "extra_forbidden":
        parent = steps[-2][1] if len(steps) > 1 else _schema(model)
        known = sorted(parent.get("properties", {}))
        hint = nearest(str(keys[-1]), known) or f"; the keys here are {', '.join(known)}"
        yield f"{place}unknown key {shown(str(keys[-1]))}{hint}"
    elif kind == "missing":
        yield f"{place}{name} is missing; give {allowed(node)}"
    elif kind == "value_error":
        what = "is missing" if value is None else f"is {shown(value)}"
        yield f"{place}{name} {what}; {fault['ctx']['error']}"
    elif kind == "too_short" and len(fault["input"]) >= fault["ctx"]["min_length"]:
        return  # its items are at fault, and have their own sentences
    else:
        more = nearest(value, map(str, node.get("enum", ()))) if isinstance(value, str) else ""
        if kind == NOT_A_NUMBER and _unit(node):
            more = f', or a text such as "12 {_unit(node)}"'
        yield f"{place}{name} is {shown(value)}; give {allowed(node)}{more}"


@lru_cache(maxsize=32)
def _schema(model: type[BaseModel]) -> Node:
    schema = model.model_json_schema(by_alias=True)
    return {**schema, "aliases": _aliases(model)}


def _aliases(model: type[BaseModel]) -> dict[str, str]:
    """Names of fields to keys, for this model and those in it; a default is reported by name."""
    found: dict[str, str] = {}
    for part in _parts(model):
        found |= {name: field.alias or name for name, field in part.model_fields.items()}
    return found


def _parts(model: type[BaseModel]) -> Iterator[type[BaseModel]]:
    pending = [field.annotation for field in model.model_fields.values()]
    yield model
    while pending:
        part = pending.pop()
        if isinstance(part, type) and issubclass(part, BaseModel):
            yield from _parts(part)
        pending.extend(getattr(part, "__args__", ()))


def _walk(root: Node, keys: tuple[Key, ...], given: object) -> list[tuple[str, Node]]:
    """Return the words and the schema node of each step along a path of keys.

    One value that was spread over the months is one step, not twelve.
    """
    node, steps = root, list[tuple[str, Node]]()
    for key in keys:
        if isinstance(key, int) and not isinstance(given, list):
            steps[-1] = (steps[-1][0], _resolved(node.get("items", {}), root))
            break
        given = _held(given, key)
        if isinstance(key, str):
            properties = node.get("properties", {})
            key = key if key in properties else root["aliases"].get(key, key)
            node = _resolved(properties.get(key) or node.get("additionalProperties") or {}, root)
            steps.append((key, node))
            continue
        months = node.get("maxItems") == _BY_MONTH and key < _BY_MONTH
        node = _resolved(node.get("items", {}), root)
        if "properties" in node:
            steps[-1] = (f"{steps[-1][0]} {key + 1}{_label(given)}", node)
        else:
            steps.append((month_name[key + 1] if months else f"item {key + 1}", node))
    return steps


def _label(given: object) -> str:
    """The name of a table of the data, quoted, or nothing."""
    if isinstance(given, dict):
        for word in _LABELS:
            if isinstance(given.get(word), str):
                return f" {shown(given[word])}"
    return ""


def _as_written(given: object, keys: Iterable[Key], otherwise: object) -> object:
    """What the grower wrote at a path of keys, if it can be told."""
    for key in keys:
        if isinstance(key, int) and not isinstance(given, list):
            break
        given = _held(given, key)
    return otherwise if given is None else given


def _held(given: object, key: Key) -> object:
    """What the data hold under a key, or None."""
    if isinstance(given, dict):
        return given.get(key)
    if isinstance(given, list) and isinstance(key, int) and key < len(given):
        return given[key]
    return None


def _resolved(node: Node, root: Node) -> Node:
    """Follow references, and take the one kind that is not null."""
    while "$ref" in node or "anyOf" in node:
        if "$ref" in node:
            node = root["$defs"][node["$ref"].rsplit("/", 1)[-1]]
        else:
            node = next(kind for kind in node["anyOf"] if kind.get("type") != "null")
    return node


def allowed(node: Node) -> str:
    """Return in words what a schema node allows."""
    if "enum" in node:
        return f"one of {', '.join(map(str, node['enum']))}"
    kind = node.get("type")
    if kind in ("number", "integer"):
        return _range(node, "a whole number" if kind == "integer" else "a number")
    if kind == "boolean":
        return "true or false (in a CSV file also yes or no)"
    if kind == "array":
        return _list(node)
    if kind == "object":
        required = node.get("required", ())
        return f"a table with {', '.join(required)}" if required else "a table of keys and values"
    if node.get("format") == "date":
        return "a date such as 2027-03-01, year, month and day, from 2000 to 2200"
    return f"a text of 1 to {node['maxLength']} characters" if "maxLength" in node else "a text"


def _list(node: Node) -> str:
    if node.get("maxItems") == _BY_MONTH:
        return "one value, or a list of twelve, January first"
    if "$ref" in node.get("items", {}):
        return "one table or more, each under its own heading in double brackets, such as [[zone]]"
    return f"a list, each {allowed(node.get('items', {}))}"


def _unit(node: Node) -> str:
    return str(node.get("unit", "")).removeprefix("delta_")


def _range(node: Node, kind: str) -> str:
    low = node.get("ge", node.get("minimum"))
    above = node.get("gt", node.get("exclusiveMinimum"))
    high = node.get("le", node.get("maximum"))
    unit = f" {_unit(node)}".rstrip()
    if low is not None and high is not None:
        return f"{kind} from {low:,.10g} to {high:,.10g}{unit}"
    if above is not None and high is not None:
        return f"{kind} above {above:,.10g}, at most {high:,.10g}{unit}"
    return f"{kind}{unit}" if low is None else f"{kind} of at least {low:,.10g}{unit}"
