"""The rules of the house that no linter knows."""

import ast
import importlib
import inspect
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path
from types import FunctionType, ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[2]
SLICES = ["catalogue", "stock", "floor", "life", "planning", "people"]
LONGEST_MODULE = 440
LONGEST_FUNCTION = 60
TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "LICENSE", "manage.py", "pyproject.toml", "requirements.lock", "docker-compose.yml",
    "crib", "calc", "config", "fixtures", "tests", "docs",
}  # fmt: skip


def sources(*folders: str) -> list[Path]:
    return [
        path
        for folder in folders
        for path in sorted((ROOT / folder).rglob("*.py"))
        if "migrations" not in path.parts and "__pycache__" not in path.parts
    ]


def modules(slice_name: str, role: str) -> Iterator[ModuleType]:
    """`services.py`, or the modules of a package of that name."""
    folder = ROOT / "crib" / slice_name
    for path in [folder / f"{role}.py", *sorted((folder / role).glob("*.py"))]:
        if path.exists():
            dotted = path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".")
            yield importlib.import_module(dotted.removesuffix(".__init__"))


def public_functions(module: ModuleType) -> list[FunctionType]:
    return [
        found
        for name, found in vars(module).items()
        if inspect.isfunction(found) and not name.startswith("_") and found.__module__ == module.__name__
    ]


SERVICES = [f for s in SLICES for m in modules(s, "services") for f in public_functions(m)]
SELECTORS = [f for s in SLICES for m in modules(s, "selectors") for f in public_functions(m)]


def name_of(function: FunctionType) -> str:
    return f"{function.__module__}.{function.__name__}"


@pytest.mark.parametrize("service", SERVICES, ids=name_of)
def test_a_service_is_keyword_only_typed_and_documented(service: FunctionType) -> None:
    signature = inspect.signature(service)
    for parameter in signature.parameters.values():
        assert parameter.kind is not parameter.POSITIONAL_OR_KEYWORD, f"{parameter.name} can be passed by position"
        assert parameter.annotation is not parameter.empty, f"{parameter.name} has no type"
    assert signature.return_annotation is not signature.empty
    assert inspect.getdoc(service), "says nothing of what the shop does by it"


@pytest.mark.parametrize("selector", SELECTORS, ids=name_of)
def test_a_selector_is_typed_and_documented(selector: FunctionType) -> None:
    assert inspect.signature(selector).return_annotation is not inspect.Signature.empty
    assert inspect.getdoc(selector)


WRITES = re.compile(r"\.(save|create|bulk_create|bulk_update|update|delete|get_or_create|update_or_create)\(")


@pytest.mark.parametrize("path", sources("crib/web/views", "crib/api"), ids=lambda p: str(p.relative_to(ROOT)))
def test_pages_and_api_write_nothing_themselves(path: Path) -> None:
    kept_answers = path.name == "idempotency.py"  # the one row that belongs to the interface itself
    for line in path.read_text().splitlines():
        if ".objects" in line and not kept_answers:
            assert not WRITES.search(line), line.strip()


@pytest.mark.parametrize("path", sources("calc", "crib", "config"), ids=lambda p: str(p.relative_to(ROOT)))
def test_modules_and_functions_stay_readable(path: Path) -> None:
    text = path.read_text()
    assert text.count("\n") <= LONGEST_MODULE, "wants to be two modules"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            doc = ast.get_docstring(node, clean=False) or ""
            length = (node.end_lineno or node.lineno) - node.lineno - doc.count("\n")
            assert length <= LONGEST_FUNCTION, f"{node.name} is {length} lines long"


def test_nothing_else_is_visible_at_the_top() -> None:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode:
        pytest.skip("not a checkout")
    tops = {line.split("/")[0] for line in listed.stdout.splitlines()}
    assert {top for top in tops if not top.startswith(".")} == TOP_LEVEL


@pytest.mark.parametrize("lock", ["requirements.lock", "tests/requirements.lock"])
def test_locks_pin_by_hash_and_name_no_index(lock: str) -> None:
    text = (ROOT / lock).read_text()
    assert "://" not in text
    assert "--index" not in text
    pins = re.findall(r"^[a-z0-9].*?==", text, re.MULTILINE)
    blocks = re.split(r"\n(?=[a-z0-9])", text.strip())
    assert pins
    assert len(pins) == len(blocks)
    assert all("--hash=sha256:" in block for block in blocks)


def test_the_engineering_documents_every_public_function() -> None:
    """Symbols, returns, errors where it raises, an example that runs, and a source that the bibliography knows."""
    keys = set(re.findall(r"\[([a-z0-9.\-]+)\]", (ROOT / "calc" / "references.md").read_text()))
    wanting = []
    for path in sources("calc/cutting", "calc/life", "calc/supply"):
        if path.name.startswith("_"):
            continue
        dotted = path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".")
        for function in public_functions(importlib.import_module(dotted)):
            function = inspect.unwrap(function)
            doc = inspect.getdoc(function) or ""
            cited = set(re.findall(r"\[([a-z0-9.\-]+)\]", doc.partition("Source")[2]))
            if not (">>>" in doc and "Returns\n" in doc and "Source" in doc):
                wanting.append(f"{name_of(function)}: example, returns or source missing")
            elif cited - keys:
                wanting.append(f"{name_of(function)}: cites {sorted(cited - keys)}, which references.md does not list")
    assert wanting == []


def test_every_source_is_cited_and_every_cited_source_is_there() -> None:
    """With its mark: what is from memory in the bibliography is from memory wherever it is cited."""
    known = set(re.findall(r"^- \[([^\]]+)\]", (ROOT / "calc" / "references.md").read_text(), re.MULTILINE))
    text = "".join(path.read_text() for path in sources("calc"))
    cited = set(re.findall(r"[\[\"]([a-z0-9.\-]+(?: \(m\))?)[\]\"]", text))
    assert known - cited == set()
    assert {key for key in cited if key.endswith("(m)")} - known == set()


def test_every_decision_is_listed_under_its_title() -> None:
    folder = ROOT / "docs" / "decisions"
    listed = {
        name: title for title, name in re.findall(r"^- \[(.+)\]\((.+)\)$", (folder / "README.md").read_text(), re.M)
    }
    records = {path.name: path.read_text().partition("\n")[0] for path in folder.glob("*.md") if path.stem != "README"}
    assert {name: f"# {title}" for name, title in listed.items()} == records
