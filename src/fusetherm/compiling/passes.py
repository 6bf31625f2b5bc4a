"""From a kernel's Python to its code, by numba's passes as far as kernels need them.

Left out are those for closures, objects, arrays computed as a whole, loops in parallel, and
variables whose use ends. Merged kernels are written into their callers without the two copies that
numba makes of each, all its variables anew for every block. And what an operation gives for
arguments of certain kinds is worked out once, where numba asks at every place.
"""

from __future__ import annotations

import copy
from collections import defaultdict
from collections.abc import Callable
from functools import cache
from typing import Any

from numba.core import ir as code
from numba.core import ssa, types
from numba.core.analysis import compute_cfg_from_blocks
from numba.core.compiler_machinery import FunctionPass, PassManager, register_pass
from numba.core.inline_closurecall import InlineWorker, callee_ir_validator
from numba.core.ir_utils import build_definitions, get_definition, guard, simplify_CFG
from numba.core.typed_passes import NoPythonBackend, NopythonTypeInference, PreLowerStripPhis
from numba.core.untyped_passes import FixupArgs, TranslateByteCode

from .lowering import LowerKernel, with_records


def _passes(name: str, *passes: Any) -> PassManager:
    manager = PassManager(name)
    for each in passes:
        manager.add_pass(each, each.__name__)
    manager.finalize()
    return manager


class _Block(code.Block):  # type: ignore[misc]
    """Code of a kernel that is merged once, and needs no copy to stay as it is."""

    def __deepcopy__(self, memo: Any) -> _Block:
        return self


class _Merger(InlineWorker):  # type: ignore[misc]
    def run_untyped_passes(self, function: Any, enable_ssa: bool = False) -> Any:
        self._compiler_pipeline = lambda state: _passes("merged", TranslateByteCode, FixupArgs)
        merged = super().run_untyped_passes(function, enable_ssa)
        for block in merged.blocks.values():
            block.__class__ = _Block
        return merged


class _KernelPass(FunctionPass):  # type: ignore[misc]
    """A pass of our own; numba's leaves open how it is made."""

    def __init__(self) -> None:
        super().__init__()


def _constant(whole: Any, variable: Any) -> Any:
    """What a variable stands for throughout, if the source says it; else None."""
    found = guard(get_definition, whole, variable)
    return found.value if isinstance(found, code.Const | code.Global | code.FreeVar) else None


def _merged_kernel(whole: Any, statement: Any) -> Any:
    """Function of the merged kernel that a statement calls, or None.

    Raises
    ------
    NotImplementedError
        For a call of a kernel that is being compiled, by the one that is or by one above it.
    """
    value = getattr(statement, "value", None)
    if not (isinstance(value, code.Expr) and value.op == "call"):
        return None
    called = _constant(whole, value.func)
    if getattr(called, "is_compiling", False):
        raise NotImplementedError(f"{called.__qualname__}, called within itself")
    return called.py_func if getattr(called, "is_merged", False) else None


@register_pass(mutates_CFG=True, analysis_only=False)
class MergeKernels(_KernelPass):
    """Write merged kernels into the kernel that calls them, and those that they call."""

    _name = "merge_kernels"

    def run_pass(self, state: Any) -> bool:
        whole = state.func_ir
        merger = _Merger(
            state.typingctx, state.targetctx, state.locals, state.pipeline, state.flags,
            validator=callee_ir_validator,
        )  # fmt: skip
        waiting: list[tuple[Any, tuple[Any, ...]]] = [(each, ()) for each in whole.blocks.values()]
        while waiting:
            block, within = waiting.pop()
            for i, statement in enumerate(block.body):
                function = _merged_kernel(whole, statement)
                if function in within:
                    raise NotImplementedError(f"{function.__qualname__}, merged within itself")
                if function is not None:
                    *_, blocks = merger.inline_function(whole, block, i, function)
                    (_, rest), *inside = blocks
                    waiting.append((rest, within))
                    waiting += [(each, (*within, function)) for _, each in inside]
                    break
        for dead in compute_cfg_from_blocks(whole.blocks).dead_nodes():
            del whole.blocks[dead]
        whole.blocks = simplify_CFG(whole.blocks)
        return True


@register_pass(mutates_CFG=False, analysis_only=False)
class KnowIndices(_KernelPass):
    """Let an index that is a number in the source be known, as tuples of several types need it."""

    _name = "know_indices"

    def run_pass(self, state: Any) -> bool:
        for block in state.func_ir.blocks.values():
            for statement in block.find_insts(code.Assign):
                asked = statement.value
                if isinstance(asked, code.Expr) and asked.op == "getitem":
                    value = _constant(state.func_ir, asked.index)
                    if isinstance(value, int):
                        statement.value = code.Expr.static_getitem(
                            asked.value, value, asked.index, asked.loc
                        )
        return True


@register_pass(mutates_CFG=True, analysis_only=False)
class AssignOnce(_KernelPass):
    """Let each variable be assigned once (static single assignment), so that it has one type.

    As numba's pass, which for every such variable goes through all of a kernel instead of the
    blocks that mention it.
    """

    _name = "assign_once"

    def run_pass(self, state: Any) -> bool:
        blocks = state.func_ir.blocks
        graph = compute_cfg_from_blocks(blocks)
        joins = ssa._iterated_domfronts(graph)
        mentioned = _mentioned(blocks)
        fix = ssa._FixSSAVars(ssa._CacheListVars())
        for name in ssa._find_defs_violators(blocks, graph):
            these = {label: blocks[label] for label in mentioned[name]}
            these, assigned = ssa._fresh_vars(these, name)
            joined: dict[Any, Any] = defaultdict(list)
            state_of_fix = {
                **ssa._make_states(blocks),
                "varname": name,
                "defmap": assigned,
                "phimap": joined,
                "cfg": graph,
                "phi_locations": ssa._compute_phi_locations(joins, assigned),
            }
            blocks.update(ssa._run_block_rewrite(these, state_of_fix, fix))
            for label, assignments in joined.items():
                blocks[label].body = assignments + blocks[label].body
        state.func_ir._definitions = build_definitions(blocks)
        return True


def _mentioned(blocks: dict[int, Any]) -> dict[str, list[int]]:
    """Blocks that mention a variable, in their order, by its name."""
    found: dict[str, dict[int, None]] = defaultdict(dict)
    for label, block in blocks.items():
        for statement in block.body:
            for variable in statement.list_vars():
                found[variable.name][label] = None
    return {name: list(labels) for name, labels in found.items()}


@register_pass(mutates_CFG=False, analysis_only=False)
class AssignWhereJoined(PreLowerStripPhis):  # type: ignore[misc]
    """Let a variable that has come from several places be assigned in each of them again.

    Without what numba notes of variables' lives afterwards, which kernels have no use for.
    """

    _name = "assign_where_joined"

    def run_pass(self, state: Any) -> bool:
        state.func_ir = self._strip_phi_nodes(state.func_ir)
        return True


def passes_for_parts() -> PassManager:
    """All passes up to the code of a part."""
    return _passes(
        "kernel", TranslateByteCode, FixupArgs, MergeKernels, KnowIndices, AssignOnce,
        NopythonTypeInference, AssignWhereJoined, LowerKernel, NoPythonBackend,
    )  # fmt: skip


def _remembered(ask: Callable[..., Any]) -> Callable[..., Any]:
    answers: dict[Any, Any] = {}

    def answer(*question: Any) -> Any:
        try:
            return answers[question]
        except KeyError:
            answers[question] = ask(*question)
            return answers[question]
        except TypeError:  # a slice, which is no key
            return ask(*question)

    return answer


@cache
def known_types(context: Any) -> Any:
    """numba's knowledge of types, which does not work out twice what a call returns."""
    own = copy.copy(context)
    resolved = _remembered(lambda function, args: context.resolve_function_type(function, args, {}))

    def resolve(function: Any, args: Any, named: Any) -> Any:
        if isinstance(function, types.NamedTupleClass):
            made = context.resolve_function_type(function, args, named)
            return made.replace(return_type=with_records(made.return_type))
        if named or isinstance(function, types.Dispatcher):  # kernels keep theirs themselves
            return context.resolve_function_type(function, args, named)
        return resolved(function, args)

    own.resolve_function_type = resolve
    own.resolve_setitem = _remembered(context.resolve_setitem)
    return own
