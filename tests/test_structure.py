"""The house: which way imports run, what is public, what loads when."""

import ast
import subprocess
import sys
from pathlib import Path

import fejoint
from benchmarks.mutations import MUTATIONS

PACKAGE = Path(fejoint.__file__).parent
# A stage imports only from those before it; what stands on top is imported by nobody below.
STAGES = [
    "errors",
    "units",
    "environment",
    "joint",
    "process",
    "coupon",
    "bondline",
    "mechanics",
    "strength",
    "proof",
    "show",
    "study",
    "demo",
    "cli",
    "__main__",
]
PURE = ["joint", "process", "coupon", "bondline", "mechanics", "strength", "proof", "study"]


def modules():
    for path in sorted(PACKAGE.rglob("*.py")):
        parts = path.relative_to(PACKAGE).with_suffix("").parts
        if parts != ("__init__",):
            yield parts, ast.parse(path.read_text(encoding="utf-8"))


def imported(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module and node.module.split(".")[0] == "fejoint":
            yield node.module.split(".")[1:] or ["__init__"]
        elif isinstance(node, ast.Import):
            yield from (name.name.split(".")[1:] for name in node.names if name.name.startswith("fejoint."))


def test_no_import_runs_backwards():
    wrong = [
        f"{'.'.join(parts)} imports {'.'.join(target)}"
        for parts, tree in modules()
        for target in imported(tree)
        if target[0] != "__init__" and STAGES.index(target[0]) > STAGES.index(parts[0])
    ]
    assert not wrong


def test_every_module_has_its_place():
    assert {parts[0] for parts, _ in modules()} <= set(STAGES)


def test_numerics_do_not_print_and_only_the_command_line_exits():
    for parts, tree in modules():
        called = {n.func.id for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}
        if parts[0] in PURE:
            assert not called & {"print", "input", "exit"}, parts
        exits = [
            n for n in ast.walk(tree) if isinstance(n, ast.Attribute) and n.attr == "exit" and getattr(n.value, "id", "") == "sys"
        ]
        assert not exits or parts[0] == "cli", parts


def test_only_the_section_imports_gmsh_and_nothing_is_unpickled_or_evaluated():
    for parts, tree in modules():
        names = {alias.name.split(".")[0] for n in ast.walk(tree) if isinstance(n, ast.Import) for alias in n.names}
        names |= {n.module.split(".")[0] for n in ast.walk(tree) if isinstance(n, ast.ImportFrom) and n.module}
        assert "gmsh" not in names or parts == ("mechanics", "section")
        assert not names & {"pickle", "marshal", "shelve"}, parts
        called = {n.func.id for n in ast.walk(tree) if isinstance(n, ast.Call) and isinstance(n.func, ast.Name)}
        assert not called & {"eval", "exec"}, parts


def test_the_public_list_is_sorted_complete_and_true():
    assert fejoint.__all__ == sorted(fejoint.__all__)
    for name in fejoint.__all__:
        assert getattr(fejoint, name).__doc__, name
    assert set(fejoint.__all__) <= set(dir(fejoint))
    for path in PACKAGE.iterdir():
        assert path.stem not in fejoint.__all__, f"{path.stem} is a module or folder and a public name"


def test_every_all_list_is_true():
    import importlib

    for parts, tree in modules():
        if any(isinstance(n, ast.Assign) and getattr(n.targets[0], "id", "") == "__all__" for n in tree.body):
            module = importlib.import_module("fejoint." + ".".join(p for p in parts if p != "__init__"))
            assert all(hasattr(module, name) for name in module.__all__), parts


def loaded_after(code):
    show = "import sys; print(' '.join(sorted({m.split('.')[0] for m in sys.modules})))"
    return set(
        subprocess.run([sys.executable, "-c", f"{code}; {show}"], capture_output=True, text=True, check=True).stdout.split()
    )


def test_importing_loads_nothing_heavy():
    assert not loaded_after("import fejoint") & {"numpy", "scipy", "gmsh", "skfem", "pyvista", "matplotlib", "pint", "pydantic"}
    assert not loaded_after("import fejoint.cli") & {"numpy", "scipy", "gmsh", "skfem", "pyvista", "matplotlib", "pint"}


def test_closed_forms_start_without_finite_elements():
    code = "import fejoint.bondline.closed_form.comparison, fejoint.bondline.edge_moment"
    assert not loaded_after(code) & {"skfem", "gmsh", "meshio", "pyvista", "matplotlib"}


def test_solving_loads_no_pictures():
    code = (
        "import fejoint; from fejoint.joint.file import joint_from_text, template; "
        "fejoint.solve(joint_from_text(template('single-lap')))"
    )
    assert not loaded_after(code) & {"pyvista", "matplotlib", "vtk", "meshio"}


def test_looking_loads_no_finite_elements():
    assert not loaded_after("import fejoint.show.space.view") & {"skfem", "gmsh", "pyvista", "matplotlib", "vtk"}


def test_public_functions_work_after_their_modules_are_imported_and_twice():
    code = (
        "import fejoint, fejoint.joint.file, fejoint.mechanics.driver; "
        "from fejoint.joint.file import joint_from_text, template; j = joint_from_text(template('single-lap')); "
        "a, b = fejoint.solve(j), fejoint.solve(j); assert (a.bondlines[0].shear == b.bondlines[0].shear).all(); fejoint.load"
    )
    loaded_after(code)


def test_changes_of_the_mutation_check_fit_the_files():
    """Each stands exactly once in its file, and its tests are there: else the check would stop half-way."""
    root = PACKAGE.parent
    for mutation in MUTATIONS:
        assert (root / mutation.file).read_text(encoding="utf-8").count(mutation.old) == 1, mutation.name
        assert all((root / path).is_file() for path in mutation.tests.split()), mutation.name
