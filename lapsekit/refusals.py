"""What a validation error says to the person who wrote the file.

Turns pydantic's errors into one line each: the key's path, the value, what is allowed.
"""

import difflib
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

_OWN_WORDS = {
    "too_short": "at least one is needed",
    "tuple_type": 'a list in square brackets is needed here, like ["cp", "a.jpg", "{file}"] or '
    "[[10, 20], [30, 40]]; regions.toml writes [[region]] and [[region.outline]] twice bracketed",
}


_BOUNDS = ("greater_than", "less_than")
_WORDS_OF_BOUNDS = {"gt": "more than", "ge": "at least", "lt": "less than", "le": "at most"}
_LENGTHS = {
    "string_too_short": "write at least {min_length} characters",
    "string_too_long": "write at most {max_length} characters",
}


def refusals(error: ValidationError, model: type[BaseModel]) -> list[str]:
    """One line for each value of a file that `model` refused.

    Parameters
    ----------
    error : pydantic.ValidationError
        What validation found.
    model : type of pydantic.BaseModel
        The model of the whole file, from which the keys allowed beside a wrong one are read.

    Returns
    -------
    list of str
        ``"cameras.bench.px_per_cm = -3: write a number, more than 0"`` and the like. An
        emptiness that only follows from a refused entry inside is not repeated.
    """
    problems = error.errors(include_url=False)
    paths = [p["loc"] for p in problems]
    return [
        _told(p, model)
        for p in problems
        if not (p["type"] == "too_short" and any(_inside(other, p["loc"]) for other in paths))
    ]


def _inside(path: tuple[Any, ...], outer: tuple[Any, ...]) -> bool:
    return len(path) > len(outer) and path[: len(outer)] == outer


def _told(problem: dict[str, Any], model: type[BaseModel]) -> str:
    """One problem of pydantic's in our words: key path, value, what is allowed."""
    key, kind, context = _key_path(problem["loc"], model), problem["type"], problem.get("ctx", {})
    if kind == "extra_forbidden":
        return f"{key} is not a setting{_nearest(problem['loc'], model)}"
    if kind == "missing":
        return f"{key} is missing"
    if kind.startswith("union_tag"):
        value = problem["input"].get("kind") if isinstance(problem["input"], dict) else None
        given = "is missing" if value is None else f"= {_toml(value)} is not known"
        kinds = ", ".join(filter(None, map(_tag, _models_at(problem["loc"], model))))
        return f"{key}.kind {given}; allowed: {kinds}"
    words = _OWN_WORDS.get(kind) or _allowed(kind, context, problem["loc"], model)
    message = words or str(context.get("error", problem["msg"]))
    value = problem["input"]
    shown = "" if isinstance(value, dict) or len(repr(value)) > 120 else f" = {_toml(value)}"
    return f"{key}{shown}: {message[0].lower()}{message[1:]}"


def _allowed(
    kind: str, context: dict[str, Any], loc: tuple[Any, ...], model: type[BaseModel]
) -> str | None:
    """What is allowed there instead, in plain words; None where pydantic says it best."""
    if kind == "literal_error":
        return f"write {context['expected']}"
    if kind in _LENGTHS:
        return _LENGTHS[kind].format(**context)
    if not kind.startswith(("int_", "float_", *_BOUNDS)):
        return None
    field = _field_at(loc, model)
    if field is not None:
        return f"write {number_words(field)}"
    limits = {name: value for name, value in context.items() if name in _WORDS_OF_BOUNDS}
    return f"write {_number_words(kind.startswith('int_'), limits)}"


def number_words(field: FieldInfo) -> str:
    """What numbers a field takes, like ``a whole number, at least 1``."""
    kinds, limits = set(), {}
    _gather(field.annotation, field.metadata, kinds, limits)
    return _number_words(float not in kinds, limits)


def _gather(annotation: Any, marks: Any, kinds: set[type], limits: dict[str, float]) -> None:
    """Kinds of number that an annotation allows, and their limits, wherever it holds them."""
    found_marks = [one for mark in marks for one in (mark, *getattr(mark, "metadata", ()))]
    for mark in found_marks:
        found = {name: getattr(mark, name, None) for name in _WORDS_OF_BOUNDS}
        limits |= {name: value for name, value in found.items() if value is not None}
    kinds |= {annotation} & {int, float}
    for part in get_args(annotation) if not hasattr(annotation, "__metadata__") else ():
        _gather(part, (), kinds, limits)
    if hasattr(annotation, "__metadata__"):
        _gather(annotation.__origin__, annotation.__metadata__, kinds, limits)


def _number_words(is_whole: bool, limits: dict[str, float]) -> str:
    if is_whole and "gt" in limits:
        limits = {"ge": limits["gt"] + 1, **{k: v for k, v in limits.items() if k != "gt"}}
    kind = "a whole number" if is_whole else "a number"
    if {"ge", "le"} <= set(limits):
        return f"{kind} from {limits['ge']:g} to {limits['le']:g}"
    told = [f"{word} {limits[name]:g}" for name, word in _WORDS_OF_BOUNDS.items() if name in limits]
    return ", ".join([kind, " and ".join(told)] if told else [kind])


def _field_at(loc: tuple[Any, ...], model: type[BaseModel]) -> FieldInfo | None:
    """The field of the last step that is a key; None inside a list, whose entries differ."""
    for owner in _models_at(loc[:-1], model) if loc else ():
        for name, field in owner.model_fields.items():
            if loc[-1] in (name, field.alias):
                return field
    return None


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value)


def _key_path(loc: tuple[Any, ...], model: type[BaseModel]) -> str:
    """``("region", 1, "outline", 0, "points")`` becomes ``region 2, outline 1, points``."""
    parts: list[str] = []
    for depth, step in enumerate(loc):
        beside = _models_at(loc[:depth], model)
        if step == "[key]" or (len(beside) > 1 and any(_tag(m) == step for m in beside)):
            continue  # pydantic's own steps, not keys of the file
        if isinstance(step, int):
            parts[-1:] = [f"{parts[-1] if parts else 'entry'} {step + 1}"]
        else:
            parts.append(str(step))
    numbered = any(isinstance(step, int) for step in loc)
    return (", " if numbered else ".").join(parts) or "the file"


def _nearest(loc: tuple[Any, ...], model: type[BaseModel]) -> str:
    allowed = _allowed_beside(loc, model)
    near = difflib.get_close_matches(str(loc[-1]), allowed, n=1)
    hint = f'; did you mean "{near[0]}"?' if near else ""
    return f"{hint} (allowed here: {', '.join(allowed)})"


def _allowed_beside(loc: tuple[Any, ...], model: type[BaseModel]) -> list[str]:
    models = _models_at(loc[:-1], model)
    return list(dict.fromkeys(f.alias or n for m in models for n, f in m.model_fields.items()))


def _models_at(loc: tuple[Any, ...], model: type[BaseModel]) -> list[type[BaseModel]]:
    """The models a value at `loc` may be of, found by walking down from the file's own."""
    current = [model]
    for step in loc:
        inner = [m for owner in current for m in _entered(owner, step)]
        tagged = [m for m in current if _tag(m) == step]
        current = tagged or inner or current
    return current


def _entered(owner: type[BaseModel], step: Any) -> list[type[BaseModel]]:
    fields = {f.alias or n: f for n, f in owner.model_fields.items()}
    return _models_in(fields[step].annotation) if step in fields else []


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [m for part in get_args(annotation) for m in _models_in(part)]


def _tag(model: type[BaseModel]) -> str | None:
    """The one value of a model's ``kind``, by which a union tells its members apart."""
    kind = model.model_fields.get("kind")
    is_tag = kind is not None and get_origin(kind.annotation) is Literal
    return get_args(kind.annotation)[0] if is_tag else None
