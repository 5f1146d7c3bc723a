"""The house: who may import whom, who may touch files, and what a quick --help leaves out."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from graphlib import TopologicalSorter
from pathlib import Path

import pytest

import seatwright

ROOT = Path(seatwright.__file__).parent
FLOORS = {
    "": 0,
    "errors": 0,
    "interrupts": 0,
    "side_by_side": 0,
    "stage": 1,
    "acoustics": 2,
    "sound": 2,
    "views": 3,
    "listening": 3,
    "disk": 4,
    "voices": 5,
    "seat_responses": 5,
    "mixdown": 5,
    "kept_levels": 5,
    "kept_reports": 5,
    "stored": 5,
    "kept_render": 5,
    "report_facts": 5,
    "render": 5,
    "check": 5,
    "compare": 5,
    "matched_set": 5,
    "page_sound": 5,
    "versions": 5,
    "drafting": 5,
    "heard_mix": 5,
    "plans": 5,
    "pages": 5,
    "cues": 5,
    "executors": 5,
    "tally": 5,
    "verify": 5,
    "memory_need": 5,
    "watch": 5,
    "watch_order": 5,
    "rendered_scene": 5,
    "loop_sound": 5,
    "loop_stretch": 5,
    "seat_loops": 5,
    "rehearsal": 5,
    "serving": 6,
    "commands": 6,
    "cli": 6,
    "console": 6,
    "__main__": 6,
}
MODULES = {
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix("__init__").strip("."): path
    for path in sorted(ROOT.rglob("*.py"))
}
TREES = {name: ast.parse(path.read_text(encoding="utf-8")) for name, path in MODULES.items()}

HEAVY = {
    "numpy", "scipy", "pydantic", "soundfile", "soxr", "pyroomacoustics", "tree_sitter", "h5py",
}  # fmt: skip
FILE_CALLS = {
    "open", "read_text", "read_bytes", "write_text", "write_bytes", "stat", "lstat", "iterdir",
    "mkdir", "unlink", "rename", "replace_file", "touch", "exists", "is_file", "is_dir", "glob",
    "rglob", "rmdir", "symlink_to", "hardlink_to", "resolve", "readlink", "fromfile", "tofile",
    "memmap", "savez", "loadtxt", "savetxt", "genfromtxt",
}  # fmt: skip
FILE_MODULES = {"os", "io", "shutil", "tempfile", "pathlib", "soundfile", "mmap", "glob", "fcntl"}
CLOCKS = {"time", "datetime", "random", "secrets", "uuid"}


def floor(module: str) -> int:
    return FLOORS[module.partition(".")[0]]


def imports(tree: ast.AST) -> Iterator[tuple[str, ast.stmt]]:
    """Every imported module's full name, wherever in the file the import stands."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((alias.name, node) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: imports are absolute"
            yield node.module or "", node


def own_imports(name: str) -> set[str]:
    """Modules of the package that a module imports; a package's name where it takes from one."""
    found = set()
    for imported, node in imports(TREES[name]):
        if imported.split(".")[0] != "seatwright":
            continue
        inner = imported.removeprefix("seatwright").strip(".")
        names = [alias.name for alias in node.names] if isinstance(node, ast.ImportFrom) else []
        deeper = {f"{inner}.{one}".strip(".") for one in names} & MODULES.keys()
        found |= deeper or {inner}
    return found


def test_every_module_has_a_floor() -> None:
    assert len(MODULES) > 50
    assert {name.split(".")[0] for name in MODULES} <= FLOORS.keys()


@pytest.mark.parametrize("name", MODULES)
def test_imports_go_to_the_same_or_a_lower_floor(name: str) -> None:
    for imported in own_imports(name):
        assert imported in MODULES, f"{name} imports {imported}"
        assert floor(imported) <= floor(name), f"{name} imports {imported} from above"


def test_there_are_no_circles() -> None:
    order = TopologicalSorter({name: own_imports(name) for name in MODULES}).static_order()
    assert len(list(order)) == len(MODULES)


@pytest.mark.parametrize("name", [name for name in MODULES if 1 <= floor(name) <= 3])
def test_the_lower_floors_touch_no_file_no_clock_and_no_global_chance(name: str) -> None:
    packaged = {
        "stage.surfaces": {"read_text", "pathlib"},
        "views.audition_page": {"read_text"},
        "views.rehearsal_page": {"read_text"},
    }
    allowed = packaged.get(name, set())  # a table and a page that come with the package
    for imported, _ in imports(TREES[name]):
        first = imported.split(".")[0]
        assert first not in FILE_MODULES - allowed | CLOCKS, f"{name} imports {imported}"
    for node in ast.walk(TREES[name]):
        if isinstance(node, ast.Call):
            called = node.func
            word = getattr(called, "attr", getattr(called, "id", ""))
            assert word not in FILE_CALLS - allowed, f"{name}:{node.lineno} calls {word}"
        if isinstance(node, ast.Attribute) and ast.unparse(node).startswith("np.random."):
            word = ast.unparse(node).split(".")[2]
            assert word in {"Generator", "SFC64", "PCG64", "default_rng", "SeedSequence"}


def test_no_generator_is_seeded_by_chance() -> None:
    for name, tree in TREES.items():
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and ast.unparse(node.func).endswith("default_rng"):
                assert node.args, f"{name}:{node.lineno} seeds a generator by chance"


@pytest.mark.parametrize("name", [name for name in MODULES if floor(name) != 6])
def test_only_the_command_line_prints(name: str) -> None:
    words = {ast.unparse(node.func) for node in ast.walk(TREES[name]) if isinstance(node, ast.Call)}
    assert not words & {"print", "typer.echo", "sys.exit", "sys.stderr.write", "sys.stdout.write"}


@pytest.mark.parametrize("name", ["cli", "console", "interrupts", "__main__", "errors", ""])
def test_heavy_imports_stand_inside_the_commands(name: str) -> None:
    top = [node for node in TREES[name].body if isinstance(node, ast.Import | ast.ImportFrom)]
    for imported, _ in imports(ast.Module(top, [])):
        first, _, inner = imported.partition(".")
        assert first not in HEAVY, f"{name} imports {imported} at its top"
        assert first != "seatwright" or floor(inner) in (0, 6), f"{name} imports {imported}"


@pytest.mark.parametrize(
    "arguments", [["--help"], ["render", "--help"], ["check", "--help"], ["--version"]]
)
def test_help_loads_nothing_heavy(arguments: list[str]) -> None:
    """In a child, where nothing is loaded yet; pydantic is loaded by typer itself."""
    code = (
        "import sys\n"
        "from seatwright.cli import main\n"
        "try:\n"
        f"    main({arguments!r})\n"
        "except SystemExit as end:\n"
        "    assert end.code in (0, None), end.code\n"
        "loaded = set(sys.modules)\n"
        f"print('loaded:', sorted(loaded & {HEAVY - {'pydantic'}!r}))\n"
        "print(sorted(name for name in loaded if name.startswith('seatwright')))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
        env={"PYTHONPATH": str(ROOT.parent)},
    )
    loaded, own = done.stdout.splitlines()[-2:]
    assert loaded == "loaded: []"
    parts = {name.partition(".")[2].partition(".")[0] for name in ast.literal_eval(own)}
    assert parts == {"", "cli", "commands", "errors", "interrupts"}
