"""The reference of the configuration is what the models say now, and leaves no table out."""

import importlib.util
import re
import tomllib
from pathlib import Path

from dryspell.config.load import KEYS
from dryspell.config.settings import TopSettings

ROOT = Path(__file__).resolve().parents[1]


def script():
    spec = importlib.util.spec_from_file_location("reference", ROOT / "deploy" / "reference.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_page_is_what_the_script_writes():
    assert script().PAGE.read_text("utf-8") == script().page(), "run: python deploy/reference.py"


def test_every_table_there_is_has_a_section():
    headings = {heading.split(".")[0] for heading, _, _ in script().SECTIONS}
    assert headings | set(TopSettings.model_fields) >= set(KEYS)


def test_every_key_has_an_example():
    rows = [re.split(r"(?<!\\)\|", line) for line in script().page().splitlines() if line.startswith("| `")]
    assert len(rows) > 190
    assert {len(row) for row in rows} == {7}
    examples = {row[1]: re.fullmatch(r" `(.+)` ", row[5].replace("\\|", "|")) for row in rows}
    assert [key for key, example in examples.items() if example is None] == []
    for example in examples.values():
        assert tomllib.loads(example[1])
