"""result.json against its documented schema, by a small checker of the keywords the schema uses."""

import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from report_job import shared_job

import decalprep
from decalprep.jobs.report_data import SCHEMA, result_data

ROOT = Path(decalprep.__file__).parent.parent
TYPES = {
    "object": dict,
    "array": list,
    "string": str,
    "boolean": bool,
    "null": type(None),
}
KEYWORDS = {
    "$schema", "$defs", "$ref", "title", "description", "type", "properties", "required",
    "additionalProperties", "items", "minItems", "maxItems", "minimum", "maximum", "enum", "const",
}  # fmt: skip


def schema() -> dict[str, Any]:
    text = (files("decalprep") / "data" / "result.schema.json").read_text(encoding="utf-8")
    found: dict[str, Any] = json.loads(text)
    return found


def is_type(value: Any, name: str) -> bool:
    if name == "number":
        return isinstance(value, int | float) and not isinstance(value, bool)
    if name == "integer":
        return isinstance(value, int) and not isinstance(value, bool)
    return isinstance(value, TYPES[name])


def faults(value: Any, rule: Any, whole: dict[str, Any], where: str = "$") -> list[str]:
    """What breaks the rule (JSON Schema 2020-12, the keywords in KEYWORDS only)."""
    if rule is False:
        return [f"{where}: not a known key"]
    assert rule.keys() <= KEYWORDS, rule.keys() - KEYWORDS
    if "$ref" in rule:
        return faults(value, whole["$defs"][rule["$ref"].removeprefix("#/$defs/")], whole, where)
    found = []
    kinds = rule.get("type", [])
    kinds = [kinds] if isinstance(kinds, str) else kinds
    if kinds and not any(is_type(value, kind) for kind in kinds):
        return [f"{where}: {value!r} is not {kinds}"]
    if "const" in rule and value != rule["const"]:
        found.append(f"{where}: not {rule['const']!r}")
    if "enum" in rule and value not in rule["enum"]:
        found.append(f"{where}: not one of {rule['enum']}")
    if is_type(value, "number") and not (
        rule.get("minimum", value) <= value <= rule.get("maximum", value)
    ):
        found.append(f"{where}: {value} is out of range")
    if isinstance(value, dict):
        found += [f"{where}: lacks {key}" for key in rule.get("required", []) if key not in value]
        for key, below in value.items():
            then = rule.get("properties", {}).get(key, rule.get("additionalProperties", True))
            if then is not True:
                found += faults(below, then, whole, f"{where}.{key}")
    if isinstance(value, list):
        if not rule.get("minItems", 0) <= len(value) <= rule.get("maxItems", len(value)):
            found.append(f"{where}: {len(value)} items")
        for k, below in enumerate(value):
            found += faults(below, rule.get("items", {}), whole, f"{where}[{k}]")
    return found


@pytest.fixture(scope="module")
def result() -> dict[str, Any]:
    made = shared_job()
    text = made.files["result.json"].decode("utf-8")
    assert "NaN" not in text
    assert "Infinity" not in text
    found: dict[str, Any] = json.loads(text)
    assert found == json.loads(json.dumps(result_data(made)))
    return found


def test_a_result_keeps_to_the_schema(result: dict[str, Any]) -> None:
    assert faults(result, schema(), schema()) == []


def test_the_printed_schema_is_a_valid_one_for_a_general_checker(result: dict[str, Any]) -> None:
    library = pytest.importorskip("jsonschema", reason="jsonschema is not installed")
    library.Draft202012Validator.check_schema(schema())
    assert not list(library.Draft202012Validator(schema()).iter_errors(result))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda d: d.pop("steps"), "lacks steps"),
        (lambda d: d.update(colour="red"), "colour: not a known key"),
        (lambda d: d["sheets"].update(count="2"), "is not ['integer']"),
        (lambda d: d["sheets"].update(count=True), "is not ['integer']"),
        (lambda d: d["placements"][0]["on_page_mm"].append(1.0), "3 items"),
        (lambda d: d["notices"][0].update(severity="loud"), "not one of"),
        (lambda d: d.update(schema="decalprep result 9"), "not 'decalprep result 1'"),
        (lambda d: d["panels"][0].update(copies=0), "out of range"),
        (lambda d: d["proof"]["decals"][0].update(error_mm="0"), "error_mm"),
    ],
)
def test_the_checker_finds_what_is_wrong(result: dict[str, Any], change: Any, told: str) -> None:
    broken = json.loads(json.dumps(result))
    change(broken)
    assert any(told in fault for fault in faults(broken, schema(), schema())), told


def test_the_schema_is_the_one_named_in_results_and_in_the_guide() -> None:
    assert schema()["title"] == SCHEMA
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    head = guide.partition(f'## result.json (schema "{SCHEMA}")')[2].partition("\n## ")[0]
    listed = {
        key
        for line in head.splitlines()
        if line.startswith("| `")
        for key in line.split("|")[1].replace("`", "").replace(" ", "").split(",")
    }
    assert listed == set(schema()["properties"])


def test_every_rule_of_the_schema_is_described_or_plain() -> None:
    def check(rule: Any, where: str) -> None:
        if not isinstance(rule, dict):
            return
        if rule.get("type") == "object" and "properties" in rule:
            assert rule["additionalProperties"] is False, where
            assert set(rule["required"]) <= set(rule["properties"]), where
        for key, below in {**rule.get("properties", {}), **rule.get("$defs", {})}.items():
            check(below, f"{where}.{key}")
        check(rule.get("items"), f"{where}[]")

    check(schema(), "$")
