"""What FHIR has no element for, as extensions: the words and seconds behind each value, notices, what was taken out.

An extension is named by a URN of a fixed UUID: unique for ever without an address on any network (RFC 8141, RFC
4122). Inside, each part is named by its field in `shared/record.py`.
"""

from __future__ import annotations

import base64
import re
from collections.abc import Iterator
from typing import Any

from shared.record import Value

Json = dict[str, Any]

VALUE = "urn:uuid:5a0f1a6e-8c57-4c0e-9d43-0b8a9c2e7f10"
"""A value of the record: its path, and all that `Value` holds."""
EXTENT = "urn:uuid:5a0f1a6e-8c57-4c0e-9d43-0b8a9c2e7f11"
NOTICE = "urn:uuid:5a0f1a6e-8c57-4c0e-9d43-0b8a9c2e7f12"
TAKEN_OUT = "urn:uuid:5a0f1a6e-8c57-4c0e-9d43-0b8a9c2e7f13"
NONE = "none"
"""In place of its content: an empty list."""
SIDE = "urn:uuid:5a0f1a6e-8c57-4c0e-9d43-0b8a9c2e7f14"
"""The side of a body site, coded."""

_LEGAL = re.compile(r"[\t\n\r\x20-\U0010ffff]+")
_LARGEST = 2**31 - 1
_ITEM, _EMPTY = "item", "empty"


def of_value(path: str, value: Value[Any]) -> Json:
    """The extension for a value at a path."""
    content = value.model_dump(mode="json", exclude_defaults=True, exclude_none=True)
    return pack(VALUE, {"path": path, "value": value.value, **content})


def pack(url: str, content: Any) -> Json:
    """Plain data (objects, lists, text, numbers, yes or no) as one extension."""
    match content:
        case dict():
            return {"url": url, "extension": [pack(key, inner) for key, inner in content.items()]}
        case list() | tuple():
            return {"url": url, "extension": [pack(_ITEM, inner) for inner in content]}
        case bool():
            return {"url": url, "valueBoolean": content}
        case int():
            kind = "valueInteger" if abs(content) <= _LARGEST else "valueDecimal"
            return {"url": url, kind: content}
        case float():
            return {"url": url, "valueDecimal": content}
        case "":
            return {
                "url": url,
                "valueCode": _EMPTY,
            }  # FHIR has no empty strings, nor such with control characters
        case _:
            if _LEGAL.fullmatch(content):
                return {"url": url, "valueString": content}
            return {"url": url, "valueBase64Binary": base64.b64encode(content.encode()).decode()}


def unpack(extension: Json) -> Any:
    """The plain data in an extension. Raises KeyError or ValueError if it is not one of ours."""
    if "extension" in extension:
        inner = extension["extension"]
        if all(part["url"] == _ITEM for part in inner):
            return [unpack(part) for part in inner]
        return {part["url"]: unpack(part) for part in inner}
    (kind,) = extension.keys() - {"url"}
    if kind == "valueBase64Binary":
        return base64.b64decode(extension[kind], validate=True).decode()
    return "" if kind == "valueCode" else extension[kind]


def found(node: Any, url: str) -> Iterator[Any]:
    """The content of every extension of this name anywhere in a resource, in its order."""
    if isinstance(node, list):
        for inner in node:
            yield from found(inner, url)
    elif isinstance(node, dict):
        if node.get("url") == url:
            yield unpack(node)
        else:
            for inner in node.values():
                yield from found(inner, url)


def every(node: Any, key: str) -> Iterator[Any]:
    """Whatever stands under a key anywhere in a resource."""
    if isinstance(node, dict) and key in node:
        yield node[key]
    for inner in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        yield from every(inner, key)
