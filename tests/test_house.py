"""The rules of the house that a machine can check: who may import whom, how long a module gets, what a file may
hold."""

from __future__ import annotations

import ast
import inspect
import re
import shutil
import subprocess
import sys
import tomllib
from collections import Counter
from collections.abc import Iterator
from functools import cache
from graphlib import TopologicalSorter
from importlib import import_module
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import pytest

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "growth"
MODULES = sorted(PACKAGE.rglob("*.py"))
MOST_LINES = 300

NOTEBOOKS = {"papermill", "nbconvert", "nbformat", "ipywidgets", "anywidget", "ipykernel", "jupyter_client", "IPython"}
HEAVY = {"pandas", "plotly"} | NOTEBOOKS
INNER = ("growth.engine", "growth.measures", "growth.scenario", "growth.errors", "growth.files", "growth.output")

# Which rooms of growth/ each room may import. "growth" is the package's own list of public names.
MAY_IMPORT = {
    "growth": "comparison, engine, errors, goals, lazy, scenario, table, uncertainty",
    "errors": "",
    "files": "errors",
    "output": "errors, files",
    "lazy": "",
    "engine": "",
    "scenario": "errors, files",
    "measures": "engine, errors, lazy",
    "table": "engine, errors, measures",
    "uncertainty": "engine, measures, scenario",
    "charts": "engine, errors, measures, uncertainty",
    "goals": "charts, engine, errors, measures, output, scenario, uncertainty",
    "comparison": "charts, engine, errors, measures, scenario",
    "calculator": "comparison, engine, errors, goals, lazy, measures, scenario, uncertainty",
    "giveaway": "calculator, comparison, engine, errors, files, goals, lazy, measures, output, scenario",
    "spreadsheet": "calculator, comparison, engine, errors, giveaway, lazy, measures, output, scenario, uncertainty",
    "kit": "calculator, comparison, engine, errors, files, giveaway, lazy, measures, output, "
    "scenario, spreadsheet, uncertainty",
    "sweep": "calculator, charts, engine, errors, files, giveaway, growth, lazy, measures, output, "
    "scenario, table, uncertainty",
    "records": "charts, engine, errors, files, lazy, output, scenario",
    "earned": "calculator, charts, engine, errors, files, lazy, output, scenario",
    "client": "calculator, charts, engine, errors, files, giveaway, lazy, output, scenario, table, uncertainty",
    "exercises": "calculator, engine, errors, giveaway, lazy, measures, output, scenario",
    "whole_file": "errors, giveaway, scenario",
    "commands": "everything",
    "cli": "everything",
    "__main__": "cli",
}


def name_of(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def running(node: ast.AST) -> Iterator[ast.AST]:
    """Every node below one that is run: what stands under TYPE_CHECKING names types and imports nothing."""
    for child in ast.iter_child_nodes(node):
        if not (isinstance(child, ast.If) and isinstance(child.test, ast.Name) and child.test.id == "TYPE_CHECKING"):
            yield child
            yield from running(child)


@cache
def imports(path: Path) -> list[str]:
    """Every module that a file imports when it runs, at its top or within a function."""
    return list(_imports(path))


def _imports(path: Path) -> Iterator[str]:
    for node in running(tree_of(path)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                package = name_of(path) if path.name == "__init__.py" else name_of(path).rpartition(".")[0]
                base = ".".join([*package.split(".")[: len(package.split(".")) - node.level + 1], base]).rstrip(".")
            yield base
            if base == "growth":  # `from growth import table` may name a module
                yield from (f"growth.{alias.name}" for alias in node.names)


def within(module: str, *packages: str) -> bool:
    return any(module == package or module.startswith(package + ".") for package in packages)


def modules_of(*packages: str) -> list[Path]:
    found = [path for path in MODULES if within(name_of(path), *packages)]
    if not found:
        raise LookupError(packages)  # a renamed package must not empty these tests
    return found


def test_the_engine_imports_numpy_the_standard_library_and_itself_alone():
    for path in modules_of("growth.engine"):
        for module in imports(path):
            top = module.partition(".")[0]
            allowed = top == "numpy" or top in sys.stdlib_module_names or within(module, "growth.engine")
            assert allowed, (name_of(path), module)


def test_the_inner_rooms_import_nothing_heavy():
    for path in modules_of(*INNER):
        for module in imports(path):
            assert module.partition(".")[0] not in HEAVY, (name_of(path), module)


@cache
def room_of(module: str) -> str:
    """The room of a module of growth/; "growth" for the package itself and for the names that it hands out."""
    room = module.partition("growth.")[2].partition(".")[0]
    return room if room and any((PACKAGE / place).exists() for place in (room, f"{room}.py")) else "growth"


def allowed(room: str) -> set[str]:
    """The rooms that a room may import, itself among them."""
    names = set(MAY_IMPORT) if MAY_IMPORT[room] == "everything" else set(filter(None, MAY_IMPORT[room].split(", ")))
    return names | {room}


def test_every_import_goes_a_way_that_the_map_allows():
    for path in MODULES:
        for module in imports(path):
            if within(module, "growth"):
                rooms = room_of(name_of(path)), room_of(module)
                assert rooms[0] in MAY_IMPORT, f"{rooms[0]} is missing in MAY_IMPORT and in DEVELOPERS.md"
                assert rooms[1] in allowed(rooms[0]), f"{name_of(path)} imports {module}"


def test_the_map_has_no_circle_and_no_room_that_is_gone():
    assert {room_of(name_of(path)) for path in MODULES} == set(MAY_IMPORT)
    graph = {room: allowed(room) - {room, "growth"} for room in MAY_IMPORT if MAY_IMPORT[room] != "everything"}
    assert list(TopologicalSorter(graph).static_order())  # raises CycleError where two rooms import each other


def test_developers_md_shows_the_same_map():
    """Its table has a row for each room, or for several: names, what they do, what they may import."""
    shown = {}
    for line in (ROOT / "DEVELOPERS.md").read_text("utf-8").splitlines():
        cells = [cell.strip() for cell in line.split("|")]
        rooms = re.findall(r"`growth/(\w+?)(?:/|\.py)`", cells[1]) if len(cells) == 5 else []
        shown |= {room: "" if cells[3] == "nothing" else cells[3] for room in rooms}
    shown["growth"] = shown.pop("__init__")
    assert shown == MAY_IMPORT


@pytest.mark.parametrize(
    "code",
    [
        "import growth",
        "from growth.cli import main; import sys; sys.argv = ['growth', '--help']; main(['--help'])",
        "import growth; growth.forecast(growth.load_scenario('scenarios/fernhollow.yaml'))",
    ],
    ids=["import", "help", "forecast"],
)
def test_nothing_heavy_is_loaded_before_it_is_needed(code):
    shown = f"{code}\nimport sys\nprint('loaded:', *sorted(module.partition('.')[0] for module in sys.modules))"
    done = subprocess.run([sys.executable, "-c", shown], capture_output=True, text=True, cwd=ROOT, timeout=60)
    assert done.returncode == 0, done.stderr
    loaded = set(done.stdout.rpartition("loaded:")[2].split())
    assert "growth" in loaded
    assert not loaded & (HEAVY | {"scipy", "jupyterlab", "traitlets", "tornado"})


def test_no_module_outgrows_its_room():
    lines = {name_of(path): len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
    assert {name: count for name, count in lines.items() if count > MOST_LINES} == {}


def test_a_class_name_means_one_thing():
    homes: dict[str, list[str]] = {}
    for path in MODULES:
        for node in tree_of(path).body:
            if isinstance(node, ast.ClassDef):
                homes.setdefault(node.name, []).append(name_of(path))
    assert {name: places for name, places in homes.items() if len(places) > 1} == {}


# each room's part of one subject, such as its command; a file of another name has it for itself
SHARED_NAMES = set(
    "__init__ __main__ arrive bridge cohorts column_names command left pay pictures questions report retention "
    "to_scenario".split()
)


def test_a_file_name_is_found_once():
    counts = Counter(path.stem for path in MODULES)
    assert {name for name, count in counts.items() if count > 1} <= SHARED_NAMES


def test_packages_hand_names_on_with_all():
    for path in MODULES:
        if path.name == "__init__.py" and any(imports(path)):
            assert re.search(r"^__all__ = |= public_names\(", path.read_text("utf-8"), re.M), name_of(path)


def test_no_public_name_of_a_lazy_package_is_also_a_module_of_it():
    """Python binds a module to its package when it loads it, so a second access would give the module instead."""
    lazy = [path for path in MODULES if path.name == "__init__.py" and "growth.lazy" in imports(path)]
    assert len(lazy) > 5
    clashes = {
        f"{name_of(path)}.{name}"
        for path in lazy
        for name in import_module(name_of(path)).__all__
        if (path.parent / name).exists() or path.with_name(f"{name}.py").exists()
    }
    assert clashes == {"growth.giveaway.sections"}  # the module is what is handed out


def test_errors_never_come_from_assert():
    assert [name_of(path) for path in MODULES for node in ast.walk(tree_of(path)) if isinstance(node, ast.Assert)] == []


def test_only_the_command_line_prints():
    edge = re.compile(r"growth\.(cli|commands|__main__|(\w+\.)+command)$")
    for path in MODULES:
        if not edge.match(name_of(path)):
            calls = [node.func for node in ast.walk(tree_of(path)) if isinstance(node, ast.Call)]
            assert not any(isinstance(call, ast.Name) and call.id == "print" for call in calls), name_of(path)


def test_what_a_user_names_is_written_by_the_rule_of_writing():
    """Who writes files otherwise, and why that is safe: each entry is a decision."""
    elsewhere = {
        "growth.files": "the rename itself, and temporary files",
        "growth.output": "the rule",
        "growth.cli": "a standard error that is closed is opened on nothing",
        "growth.scenario.file": "save_scenario changes the values of the scenario that was opened",
        "growth.sweep.store": "a sweep's folder, by the sweep's own list; its lock",
        "growth.sweep.dask_cluster": "a temporary folder",
        "growth.sweep.report_notebook": "the folder of reports in the making",
        "growth.giveaway.chromium": "a temporary folder",
        "growth.earned.command": "a temporary folder",
        "growth.client.actuals": "note_month: a row in the file of months, not in one with other columns",
        "growth.client.words_form": "take_logo: an uploaded picture, where there is none of that name",
        "growth.client.meeting_copies": "copies of a client's file under the day's date, in a folder of their own",
    }
    writes = {"replace_file", "write_text", "write_bytes", "savefig", "to_csv"}
    found = set()
    for path in MODULES:
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.Call):
                name = node.func.id if isinstance(node.func, ast.Name) else getattr(node.func, "attr", "")
                mode = [part.value for part in node.args[:2] if isinstance(part, ast.Constant)][-1:]
                opened = name == "open" and mode and re.search("[wax+]", str(mode[0])) and len(str(mode[0])) <= 3
                if (name in writes and not (name == "to_csv" and not node.args)) or opened:
                    found.add(name_of(path))
    assert found <= elsewhere.keys()


def test_randomness_comes_from_a_generator_handed_in():
    for path in MODULES:
        assert "random" not in imports(path), name_of(path)
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.Attribute) and ast.unparse(node.value) in {"np.random", "numpy.random"}:
                assert node.attr in {"default_rng", "Generator", "SeedSequence"}, (name_of(path), node.attr)


def test_what_is_public_says_what_it_does():
    """Every module, and every function and class whose name has no underscore in front."""
    silent = []
    for path in MODULES:
        tree = tree_of(path)
        if tree.body and not ast.get_docstring(tree):
            silent.append(name_of(path))
        for node in tree.body:
            named = isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef))
            if named and not node.name.startswith("_") and not ast.get_docstring(node):
                silent.append(f"{name_of(path)}.{node.name}")
    assert silent == []


def described(function: FunctionType) -> list[str]:
    """What the docstring of a public function lacks."""
    signature = inspect.signature(function)
    texts = re.split(r"^(\w+)\n-{3,}\n", inspect.getdoc(function) or "", flags=re.MULTILINE)
    sections = dict(zip(texts[1::2], texts[2::2], strict=True))
    heads = re.findall(r"^[*\w][^:\n]*", sections.get("Parameters", ""), re.MULTILINE)
    named = {name.strip(" *") for head in heads for name in head.split(",")}
    lacking = [f"the argument {name}" for name in signature.parameters if name not in named]
    if signature.return_annotation not in (None, "None") and "Returns" not in sections:
        lacking.append("a section Returns")
    return lacking if ">>> " in sections.get("Examples", "") else [*lacking, "an example"]


def test_the_search_for_what_a_docstring_lacks_finds_it():
    def doubled(number: float, *, times: int = 1) -> float:
        """Twice a number, so many times over.

        Parameters
        ----------
        number : float
            Any; doubled as many times as `times` says.
        """
        return number * 2**times

    assert described(doubled) == ["the argument times", "a section Returns", "an example"]


def test_public_functions_describe_what_they_take_and_give_with_an_example():
    packages = [path for path in MODULES if path.name == "__init__.py" and any(imports(path))]
    handed_on = {
        value
        for path in packages
        for value in vars_of(import_module(name_of(path)))
        if isinstance(value, FunctionType) and value.__module__.startswith("growth.")
    }
    assert len(handed_on) > 80
    lacking = {f"{one.__module__}.{one.__qualname__}": described(one) for one in handed_on}
    assert {name: what for name, what in lacking.items() if what} == {}


def vars_of(package: ModuleType) -> list[Any]:
    return [getattr(package, name) for name in getattr(package, "__all__", ())]


# --- files ------------------------------------------------------------------------------------------------------------

TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE", "growth", "notebooks", "tests", "scenarios"}
MACHINE_PATH = re.compile(r"(?<![\w.:/~-])/(?:home|root|Users|work|tmp|var|opt|mnt)/[\w.]")
REGISTRY = re.compile(r"(?:pypi|pythonhosted|npmjs|golang|anaconda)\.(?:org|com|io)\b")


@cache
def tracked() -> list[Path]:
    if not shutil.which("git") or not (ROOT / ".git").exists():
        pytest.skip("needs git and a clone, to know which files are the project's")
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    return [ROOT / name for name in listed.split("\0") if name and (ROOT / name).is_file()]


def texts() -> Iterator[tuple[str, str]]:
    for path in tracked():
        try:
            yield str(path.relative_to(ROOT)), path.read_text(encoding="utf-8")
        except UnicodeDecodeError:
            continue  # a picture


def test_the_top_level_holds_what_it_should():
    top = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {name for name in top if not name.startswith(".")} <= TOP


def test_no_file_knows_a_machine_or_a_registry():
    found = [
        f"{name}:{number}"
        for name, text in texts()
        for number, line in enumerate(text.splitlines(), start=1)
        if MACHINE_PATH.search(line) or REGISTRY.search(line)
    ]
    assert found == []


def test_the_search_for_machine_paths_finds_one():
    assert MACHINE_PATH.search("see " + "/".join(["", "home", "someone", "file"]))
    assert not MACHINE_PATH.search("a/home/b")
    assert REGISTRY.search("https://" + "pypi" + ".org/simple") and not REGISTRY.search("pypi has it")


def test_every_folder_of_the_package_is_listed_for_the_wheel():
    listed = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["setuptools"]["packages"]
    folders = {
        ".".join(path.parent.relative_to(ROOT).parts)
        for path in (ROOT / "growth").rglob("*")
        if path.is_file() and path.parent.name != "__pycache__" and "." not in path.parent.name
    }
    assert folders == {name for name in listed if not name.startswith(("growth.notebooks", "growth.scenarios"))}
