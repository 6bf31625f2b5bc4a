"""What kernels do with variables, arrays and named tuples, in few instructions of the machine.

numba writes for each element of an array that is read or set some fifty instructions, which its
optimiser takes away again: fields go through memory, an index below zero counts from the end. It
clears each variable whose use is over, for objects that are counted, and hands a named tuple on as
all the numbers within it, a hundred for a network. Kernels have C-contiguous arrays of float64 and
int64, no index below zero and nothing that is counted. So half the instructions are enough, and
the time to compile follows them.
"""

# the compiler ships types in part
# mypy: disable-error-code="attr-defined, has-type, name-defined"
from __future__ import annotations

from typing import Any

from llvmlite import ir
from llvmlite.ir.instructions import InsertValue, LoadInstr
from numba.core import cgutils, types
from numba.core import ir as code
from numba.core.compiler_machinery import register_pass
from numba.core.datamodel import default_manager
from numba.core.lowering import Lower
from numba.core.typed_passes import NativeLowering
from numba.extending import models, register_model

# fields of an array
_OWNER, _OBJECT, _ITEMS, _ITEM_SIZE, _DATA, _SHAPE, _STRIDES = map(
    default_manager[types.Array(types.float64, 1, "C")].get_field_position,
    ("meminfo", "parent", "nitems", "itemsize", "data", "shape", "strides"),
)
_INT32, _INT64 = ir.IntType(32), ir.IntType(64)


class Record(types.NamedTuple):  # type: ignore[misc]
    """Type of a named tuple that kernels hand on by its address. Nothing changes one."""

    def __init__(self, kinds: Any, cls: Any) -> None:
        super().__init__(kinds, cls)
        # part of a kernel's name: with the tuple's own, two ways to call it would be one
        self.name = f"Record {self.name}"


@register_model(Record)
class _RecordModel(models.TupleModel):  # type: ignore[misc]
    def get_argument_type(self) -> Any:
        return self.get_value_type().as_pointer()

    def as_argument(self, builder: Any, value: Any) -> Any:
        if isinstance(value, LoadInstr):
            return value.operands[0]
        return cgutils.alloca_once_value(builder, value)  # where Python calls

    def from_argument(self, builder: Any, value: Any) -> Any:
        return builder.load(value)


def with_records(kind: Any) -> Any:
    """Type of a value in kernels, from the one that numba gives it."""
    if isinstance(kind, types.BaseNamedTuple):
        return Record(tuple(kind), kind.instance_class)
    return kind


def _is_plain(kind: Any) -> bool:
    return (
        type(kind) is types.Array
        and kind.layout == "C"
        and kind.aligned
        and kind.dtype in (types.float64, types.int64)
    )


def _axes(index: Any) -> int:
    """Number of whole numbers in an index; 0 for a slice and others."""
    kinds = index.types if isinstance(index, types.BaseTuple) else (index,)
    whole = all(isinstance(kind, types.Integer) and kind.bitwidth == 64 for kind in kinds)
    return len(kinds) if whole else 0


class KernelLowering(Lower):  # type: ignore[misc]
    """numba's step from its own code to that of LLVM, with other ways for some statements."""

    def setup_function(self, descriptor: Any) -> None:
        super().setup_function(descriptor)
        kinds = [kind for kind in descriptor.argtypes if isinstance(kind, Record)]
        records = {self.context.get_value_type(kind).as_pointer() for kind in kinds}
        for argument in self.call_conv.get_arguments(self.function):
            if argument.type in records:
                argument.add_attribute("noalias")  # so that it is read once, before a loop

    # variables ----------------------------------------------------------------------------

    def lower_block(self, block: Any) -> None:
        try:
            for statement in block.body:
                self.loc = statement.loc
                self.lower_inst(statement)
        except Exception as problem:
            problem.add_note(f"in kernel {self.func_ir.func_id.func_qualname}: {self.loc}")
            raise

    def lower_inst(self, statement: Any) -> None:
        if not isinstance(statement, code.Assign):
            super().lower_inst(statement)
        elif isinstance(self.typeof(statement.target.name), Record):
            self._name_record(statement.target.name, statement.value)
        else:
            name = statement.target.name
            self.storevar(self.lower_assign(self.typeof(name), statement), name)

    def _name_record(self, name: str, value: Any) -> None:
        """Let a variable stand for a record where that lies, or for one that is made now."""
        if isinstance(value, code.Arg):
            place = self.fnargs[value.index].operands[0]
        elif isinstance(value, code.Var):
            place = self.varmap[value.name]
        elif value.op == "cast":  # what a merged kernel returns
            place = self.varmap[value.value.name]
        else:
            made = self.lower_expr(self.typeof(name), value)
            place = cgutils.alloca_once(self.builder, made.type, name=name)
            self.builder.store(made, place)
        self._singly_assigned_vars.discard(name)
        if self.varmap.setdefault(name, place) is not place:
            raise NotImplementedError(
                f"the named tuple {name} comes from several places: kernels do not choose between "
                "them, nor keep one beyond the turn of a loop in which it was made"
            )

    def alloca(self, name: str, kind: Any) -> Any:
        return cgutils.alloca_once(self.builder, self.context.get_value_type(kind), name=name)

    def storevar(self, value: Any, name: str, argidx: Any = None) -> None:
        self._alloca_var(name, self.typeof(name))
        if name in self._singly_assigned_vars:
            self._blk_local_varmap[name] = value
        else:
            self.builder.store(value, self.getvar(name))

    def _field(self, name: str, *path: int) -> Any:
        """A field of what a variable holds."""
        if name in self._blk_local_varmap:
            return self.builder.extract_value(self._blk_local_varmap[name], path)
        place = [ir.Constant(_INT32, i) for i in (0, *path)]
        return self.builder.load(self.builder.gep(self.getvar(name), place, inbounds=True))

    def lower_expr(self, kind: Any, expression: Any) -> Any:
        if expression.op == "getattr":
            name, attribute = expression.value.name, expression.attr
            holder = self.typeof(name)
            if isinstance(holder, Record) and attribute in holder.fields:
                return self._field(name, holder.fields.index(attribute))
            if _is_plain(holder) and attribute == "shape":
                return self._field(name, _SHAPE)
        return super().lower_expr(kind, expression)

    def lower_binop(self, kind: Any, expression: Any, operation: Any) -> Any:
        asked = self.fndesc.calltypes[expression]
        values = [
            self.context.cast(self.builder, self.loadvar(side.name), self.typeof(side.name), wanted)
            for side, wanted in zip((expression.lhs, expression.rhs), asked.args, strict=True)
        ]
        known = self.context.typing_context
        function = known.resolve_value_type(operation)
        if asked.args not in function._impl_keys:  # `-` for `-=`, which was asked for alone
            function.get_call_type(known, asked.args, {})
        result = self.context.get_function(function, asked)(self.builder, values)
        return self.context.cast(self.builder, result, asked.return_type, kind)

    # elements -----------------------------------------------------------------------------

    def _known(self, array: Any, index: Any) -> int:
        """Number of indices where an element or a row can be had in the short way, else 0."""
        kind = self.typeof(array.name)
        if not _is_plain(kind):
            return 0
        axes = _axes(self.typeof(index.name))
        return axes if axes <= kind.ndim else 0

    def _indices(self, index: Any, count: int) -> list[Any]:
        value = self.loadvar(index.name)
        if not isinstance(self.typeof(index.name), types.BaseTuple):
            return [value]
        found: dict[int, Any] = {}
        while isinstance(value, InsertValue):  # a tuple that was made for this only
            (i,) = value.indices
            found.setdefault(i, value.operands[1])
            value = value.operands[0]
        for i in range(count):
            if i not in found:
                found[i] = self.builder.extract_value(value, i)
        return [found[i] for i in range(count)]

    def _place(self, array: Any, index: Any, count: int) -> Any:
        """Address of an element, or of the first one of a row."""
        builder, name = self.builder, array.name
        indices = self._indices(index, count)
        for axis, i in enumerate(indices):
            if isinstance(i, ir.Constant) and i.constant < 0:
                raise NotImplementedError(f"an index below zero, of {name}")
            if self.context.enable_boundscheck:
                size = self._field(name, _SHAPE, axis)
                cgutils.do_boundscheck(self.context, builder, i, size, axis)
        offset, *others = indices
        for axis in range(1, self.typeof(name).ndim):
            offset = builder.mul(offset, self._field(name, _SHAPE, axis))
            if others:
                offset = builder.add(offset, others.pop(0))
        return builder.gep(self._field(name, _DATA), [offset])

    def lower_getitem(self, kind: Any, expression: Any, array: Any, index: Any, types_: Any) -> Any:
        count = self._known(array, index)
        if count == 0:
            return super().lower_getitem(kind, expression, array, index, types_)
        place = self._place(array, index, count)
        holder = self.typeof(array.name)
        if count == holder.ndim:
            return self.context.cast(self.builder, self.builder.load(place), holder.dtype, kind)
        return self._row(array.name, count, place, kind)

    def _row(self, name: str, count: int, place: Any, kind: Any) -> Any:
        """What is left of an array at the first `count` indices, which lies at a place."""
        builder = self.builder
        row = ir.Constant(self.context.get_value_type(kind), ir.Undefined)
        parts = row.type.elements
        items = ir.Constant(_INT64, 1)
        for axis in range(kind.ndim):
            size = self._field(name, _SHAPE, count + axis)
            items = builder.mul(items, size) if axis else size
            row = builder.insert_value(row, size, [_SHAPE, axis])
            stride = self._field(name, _STRIDES, count + axis)
            row = builder.insert_value(row, stride, [_STRIDES, axis])
        for field, value in (
            (_OWNER, ir.Constant(parts[_OWNER], None)),
            (_OBJECT, ir.Constant(parts[_OBJECT], None)),
            (_ITEMS, items),
            (_ITEM_SIZE, ir.Constant(_INT64, 8)),
            (_DATA, place),
        ):
            row = builder.insert_value(row, value, field)
        return row

    def lower_setitem(self, array: Any, index: Any, value: Any, types_: Any) -> Any:
        kind, value_kind = self.typeof(array.name), self.typeof(value.name)
        count = self._known(array, index)
        if count == 0 or count != kind.ndim or not isinstance(value_kind, types.Number):
            return super().lower_setitem(array, index, value, types_)
        number = self.context.cast(self.builder, self.loadvar(value.name), value_kind, kind.dtype)
        return self.builder.store(number, self._place(array, index, count))


@register_pass(mutates_CFG=True, analysis_only=False)
class LowerKernel(NativeLowering):  # type: ignore[misc]
    """The pass of `KernelLowering`."""

    _name = "lower_kernel"

    @property
    def lowering_class(self) -> Any:
        return KernelLowering
