"""No call inside the package falls back on a level that nobody chose."""

import ast
import importlib
import inspect
import pkgutil
import textwrap
from functools import cache
from types import FunctionType, ModuleType

import pytest

import twinangle

LEVELS = ("confidence", "alpha")  # parameters that hold the level of an interval or of a test
# From the run to the page the level travels within `Options` alone.
INSIDE = ("analysis", "report", "run", "closing", "results")


def modules():
    found = pkgutil.walk_packages(twinangle.__path__, "twinangle.")
    names = [each.name for each in found if not each.name.endswith("__main__")]
    return [importlib.import_module(name) for name in names]


def name_of(module):
    return module.__name__


def is_inside(name):
    return name.removeprefix("twinangle.").partition(".")[0] in INSIDE


@cache
def levels_of(function):
    """Return the level parameters that a call may leave out, with their positions."""
    try:
        parameters = inspect.signature(function).parameters.values()
    except (TypeError, ValueError):
        return {}
    return {
        each.name: place
        for place, each in enumerate(parameters)
        if each.name in LEVELS and each.default is not each.empty
    }


def resolved(node, module):
    """Return what a name or a dotted name of the module stands for, None where not known."""
    if isinstance(node, ast.Name):
        return getattr(module, node.id, None)
    if isinstance(node, ast.Attribute):
        home = resolved(node.value, module)
        return getattr(home, node.attr, None) if isinstance(home, ModuleType | type) else None
    return None


def is_ours(found):
    home = getattr(found, "__module__", None) or ""
    return isinstance(found, FunctionType | type) and home.startswith("twinangle")


def states(call, name, place):
    """Whether a call gives the parameter, by name or by position."""
    given = {each.arg for each in call.keywords}
    starred = any(isinstance(each, ast.Starred) for each in call.args)
    return name in given or None in given or starred or place < len(call.args)


def methods_with_levels(all_modules):
    """Return the names of methods that take a level with a default: resolved by name alone."""
    return {
        name
        for module in all_modules
        for kind in vars(module).values()
        if isinstance(kind, type) and is_ours(kind)
        for name, method in vars(kind).items()
        if isinstance(method, FunctionType)
        and "confidence" in levels_of(method)
        and not name.startswith("__")
    }


def forgotten(tree, module, methods=frozenset(), *, strict):
    """Return what calls of a module leave a level out, or hand such a function on uncalled."""
    found = []
    calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
    called = {id(node.func) for node in calls}
    # `partial(function, …, confidence=…)` states the level where it hands the function on.
    called |= {
        id(node.args[0])
        for node in calls
        if isinstance(node.func, ast.Name)
        and node.func.id == "partial"
        and node.args
        and any(each.arg in LEVELS for each in node.keywords)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            function = resolved(node.func, module)
            wanted = levels_of(function) if is_ours(function) else {}
            if not wanted and isinstance(node.func, ast.Attribute) and node.func.attr in methods:
                wanted = dict.fromkeys(LEVELS[:1], len(node.args))
            spread = strict and any(each.arg is None for each in node.keywords)
            found += [
                f"{module.__name__}, line {node.lineno}: "
                f"{ast.unparse(node.func)}() does not say `{name}`"
                for name, place in wanted.items()
                if spread or not states(node, name, place)
            ]
        elif strict and isinstance(node, ast.Name | ast.Attribute) and id(node) not in called:
            function = resolved(node, module)
            if is_ours(function) and isinstance(function, FunctionType) and levels_of(function):
                found.append(
                    f"{module.__name__}, line {node.lineno}: {ast.unparse(node)} is handed on "
                    "without its level"
                )
    return found


def test_the_places_inside_a_run_are_places_of_the_package():
    inside = {name.removeprefix("twinangle.").partition(".")[0] for name in map(name_of, modules())}
    assert set(INSIDE) <= inside


def test_every_call_in_the_package_states_its_level():
    everything = modules()
    methods = methods_with_levels(everything)
    faults = []
    for module in everything:
        tree = ast.parse(inspect.getsource(module))
        faults += forgotten(tree, module, methods, strict=is_inside(module.__name__))
    assert not faults, "\n".join(faults)


def test_inside_a_run_no_function_takes_a_level_of_its_own():
    faults = []
    for module in modules():
        if not is_inside(module.__name__):
            continue
        for node in ast.walk(ast.parse(inspect.getsource(module))):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
                args = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
                faults += [
                    f"{module.__name__}, line {node.lineno}: takes `{each.arg}`; take `options`"
                    for each in args
                    if each.arg in LEVELS
                ]
            elif isinstance(node, ast.keyword) and node.arg == "confidence":
                faults += [
                    f"{module.__name__}, line {node.value.lineno}: a level written as a number"
                    for each in ast.walk(node.value)
                    if isinstance(each, ast.Constant) and isinstance(each.value, float)
                ]
    assert not faults, "\n".join(faults)


@pytest.mark.parametrize(
    "line",
    [
        "error_budget(a, b)",
        "budget.error_budget(a, b)",
        "[error_budget(a, b) for a in c]",
        "map(error_budget, a, b)",
        "partial(error_budget, a)",
        "LimitsOfAgreement.at(a)",
        "limits.at(a)",
    ],
)
def test_the_walk_sees_a_forgotten_level(line):
    module = ModuleType("twinangle.invented")
    source = """
        from functools import partial
        from twinangle.agreement import budget
        from twinangle.agreement.budget import error_budget

        class LimitsOfAgreement:
            def at(self, size, confidence=0.95): ...
        """
    exec(textwrap.dedent(source), vars(module))  # a module that forgets, for the walk to see
    module.LimitsOfAgreement.__module__ = module.LimitsOfAgreement.at.__module__ = "twinangle.x"
    methods = methods_with_levels([module])
    assert len(forgotten(ast.parse(line), module, methods, strict=True)) == 1


@pytest.mark.parametrize(
    "line",
    ["error_budget(a, b, confidence=c)", "error_budget(a, b, confidence=options.confidence)"],
)
def test_the_walk_lets_a_stated_level_pass(line):
    module = ModuleType("twinangle.invented")
    exec("from twinangle.agreement.budget import error_budget", vars(module))
    assert forgotten(ast.parse(line), module, strict=True) == []
