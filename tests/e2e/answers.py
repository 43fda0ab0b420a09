"""The daemon's answers against their JSON Schemas in daemon/serve/answers, which are what the outside is
told of them. Stricter than the outside is told: a member that its schema does not name is a fault too, so
that nothing is answered that nobody described."""
import copy
import json
import pathlib
import re
import warnings

from jsonschema import Draft202012Validator

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # newer releases have another way, Debian 12 has not
    from jsonschema import RefResolver

FOLDER = pathlib.Path(__file__).resolve().parents[2] / "daemon/serve/answers"
PROBLEM = "problem.schema.json"


def closed(schema):
    """Every object that lists its members has no others."""
    if isinstance(schema, dict):
        schema = {key: closed(value) for key, value in schema.items()}
        if isinstance(schema.get("properties"), dict) and schema.get("type") == "object" and \
                "additionalProperties" not in schema:
            schema["unevaluatedProperties"] = False  # those of a $ref beside are evaluated
    elif isinstance(schema, list):
        schema = [closed(value) for value in schema]
    return schema


AS_TOLD = {path.name: json.loads(path.read_text()) for path in sorted(FOLDER.glob("*.schema.json"))}
CLOSED = {name: closed(copy.deepcopy(schema)) for name, schema in AS_TOLD.items()}
VALIDATORS = {name: Draft202012Validator(schema, resolver=RefResolver("", schema, store=CLOSED))
              for name, schema in CLOSED.items()}
ROUTES = {route: name for name, schema in AS_TOLD.items() for route in schema.get("routes", [])}
PATTERNS = {route: re.compile(re.escape(route).replace(r"\*", "[^/]+") + r"\Z") for route in ROUTES}


def schema_of(method, path):
    """Its file's name, or None. What names no part of a path goes before what does."""
    asked = f"{method} {path.split('?')[0]}"
    fitting = [route for route, pattern in PATTERNS.items() if pattern.match(asked)]
    return ROUTES[min(fitting, key=lambda route: route.count("*"))] if fitting else None


def documents(content_type, text):
    if "ndjson" in content_type:
        return [json.loads(line) for line in text.splitlines()]
    return [json.loads(text)] if "json" in content_type else []


def faults(method, path, status, content_type, text):
    """What is wrong with an answer, as lines; none for what is not JSON."""
    name = PROBLEM if status >= 400 else schema_of(method, path)
    found = []
    for document in documents(content_type, text):
        if name is None:
            return [f"{method} {path}: no schema in {FOLDER} names this route"]
        for error in VALIDATORS[name].iter_errors(document):
            error = deepest(error)
            where = "/".join(str(part) for part in error.absolute_path)
            found.append(f"{method} {path}: {name}: {where}: {error.message[-300:]}")
    return found


def deepest(error):
    """Of alternatives, the fault of the one that fits best: the one whose own members are there."""
    while error.context:
        missing = {e.schema_path[0] for e in error.context if e.validator == "required"}
        close = [e for e in error.context if e.schema_path[0] not in missing and e.validator != "type"]
        error = (close or sorted(error.context, key=lambda e: -len(e.absolute_path)))[0]
    return error
