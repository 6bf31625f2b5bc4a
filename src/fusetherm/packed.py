"""Eight numbers side by side as one value, for kernels that follow eight runs at once.

A pack is what a vector unit of the processor works on: the same operation on each of `LANES`
float64 numbers. Kernels load packs from arrays whose last axis has `LANES` entries, compute with
``+ - * /`` and the functions below as with plain numbers, and store them again. A lane's numbers
depend on no other lane's. Where the processor has shorter vectors the compiler splits the packs.

Loops over lanes written out are unrolled by the compiler into plain numbers, which costs three
times as much: hence a type of our own.
"""

# the compiler ships no types
# mypy: disable-error-code="misc, untyped-decorator, no-untyped-call"
from __future__ import annotations

import operator
from collections.abc import Callable
from typing import Any, ClassVar

from llvmlite import ir
from numba.core import types
from numba.core.typing.templates import ConcreteTemplate, infer_global, signature
from numba.extending import intrinsic, lower_builtin, models, register_model

#: Numbers in a pack.
LANES = 8

_VECTOR = ir.VectorType(ir.DoubleType(), LANES)
_INDEX = ir.IntType(32)


class Pack(types.Type):
    """Type of a pack within kernels."""

    def __init__(self) -> None:
        super().__init__(name=f"Pack{LANES}")


_pack = Pack()


@register_model(Pack)
class _PackModel(models.PrimitiveModel):
    def __init__(self, manager: Any, kind: Any) -> None:
        super().__init__(manager, kind, _VECTOR)


def _spread(builder: Any, number: Any) -> Any:
    """A pack with one number in every lane."""
    nothing = ir.Constant(_VECTOR, ir.Undefined)
    first = builder.insert_element(nothing, number, ir.Constant(_INDEX, 0))
    everywhere = ir.Constant(ir.VectorType(_INDEX, LANES), [0] * LANES)
    return builder.shuffle_vector(first, nothing, everywhere)


def _operands(builder: Any, sig: Any, args: Any) -> list[Any]:
    return [
        value if kind == _pack else _spread(builder, value)
        for value, kind in zip(args, sig.args, strict=True)
    ]


def _arithmetic(symbol: Callable[..., Any], name: str) -> None:
    """Make one of the four operations known for two packs, or a pack and a number."""
    pairs = [(_pack, _pack), (_pack, types.float64), (types.float64, _pack)]

    class Template(ConcreteTemplate):
        cases: ClassVar = [signature(_pack, *pair) for pair in pairs]

    infer_global(symbol)(Template)

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        a, b = _operands(builder, sig, args)
        # may become one fused operation with its neighbour, as in the other kernels
        return getattr(builder, name)(a, b, flags=("contract",))

    for pair in pairs:
        lower_builtin(symbol, *pair)(lowered)


for _symbol, _name in (
    (operator.add, "fadd"),
    (operator.sub, "fsub"),
    (operator.mul, "fmul"),
    (operator.truediv, "fdiv"),
):
    _arithmetic(_symbol, _name)


def _place(context: Any, builder: Any, sig: Any, args: Any) -> Any:
    """Pointer to lanes ``array[row, i, :]`` of a C-contiguous (rows, nodes, LANES) array."""
    array = context.make_array(sig.args[0])(context, builder, args[0])
    nodes = builder.extract_value(array.shape, 1)
    node = builder.add(builder.mul(args[1], nodes), args[2])
    offset = builder.mul(node, ir.Constant(node.type, LANES))
    pointer = builder.gep(array.data, [offset], inbounds=True)
    return builder.bitcast(pointer, _VECTOR.as_pointer())


@intrinsic
def load(context: Any, array: Any, row: Any, i: Any) -> Any:
    """Pack of ``array[row, i, :]``."""

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        pack = builder.load(_place(context, builder, sig, args))
        pack.align = 8
        return pack

    return _pack(array, types.intp, types.intp), lowered


@intrinsic
def store(context: Any, array: Any, row: Any, i: Any, pack: Any) -> Any:
    """Set ``array[row, i, :]``."""

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        stored = builder.store(args[3], _place(context, builder, sig, args))
        stored.align = 8
        return context.get_dummy_value()

    return types.void(array, types.intp, types.intp, _pack), lowered


@intrinsic
def everywhere(context: Any, number: Any) -> Any:
    """Pack with one number in every lane."""

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        return _spread(builder, args[0])

    return _pack(types.float64), lowered


@intrinsic
def larger(context: Any, a: Any, b: Any) -> Any:
    """The larger number of each lane; b where they cannot be compared."""

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        first, second = args
        return builder.select(builder.fcmp_ordered(">", first, second), first, second)

    return _pack(_pack, _pack), lowered


@intrinsic
def whole(context: Any, a: Any) -> Any:
    """Each lane without its fraction, towards zero; for numbers far below 2^63."""

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        integers = builder.fptosi(args[0], ir.VectorType(ir.IntType(64), LANES))
        return builder.sitofp(integers, _VECTOR)

    return _pack(_pack), lowered


@intrinsic
def all_between(context: Any, a: Any, low: Any, high: Any) -> Any:
    """Whether low <= a <= high in every lane."""

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        a, low, high = args
        inside = builder.and_(
            builder.fcmp_ordered(">=", a, low), builder.fcmp_ordered("<=", a, high)
        )
        bits = builder.bitcast(inside, ir.IntType(LANES))
        every = builder.icmp_unsigned("==", bits, ir.Constant(ir.IntType(LANES), 2**LANES - 1))
        return context.cast(builder, every, types.boolean, sig.return_type)

    return types.boolean(_pack, _pack, _pack), lowered


@intrinsic
def magnitude(context: Any, a: Any) -> Any:
    """Absolute value of each lane."""

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        (value,) = args
        zero = _spread(builder, ir.Constant(ir.DoubleType(), 0.0))
        negative = builder.fcmp_ordered("<", value, zero)
        return builder.select(negative, builder.fsub(zero, value), value)

    return _pack(_pack), lowered


@intrinsic
def where_above(context: Any, a: Any, b: Any, yes: Any, no: Any) -> Any:
    """`yes` in the lanes where a > b, `no` in the others."""

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        a, b, yes, no = args
        return builder.select(builder.fcmp_ordered(">", a, b), yes, no)

    return _pack(_pack, _pack, _pack, _pack), lowered


_QUADRUPLE = ir.VectorType(ir.DoubleType(), 4)


def _flat(context: Any, builder: Any, kind: Any, array: Any, place: Any, vector: Any) -> Any:
    """Pointer to a vector that begins at a place of a C-contiguous array seen as flat."""
    data = context.make_array(kind)(context, builder, array).data
    return builder.bitcast(builder.gep(data, [place], inbounds=True), vector.as_pointer())


def _coefficient(context: Any, builder: Any, sig: Any, args: Any, power: int) -> Any:
    place = builder.add(args[1], ir.Constant(args[1].type, 4 * power))
    loaded = builder.load(_flat(context, builder, sig.args[0], args[0], place, _QUADRUPLE))
    loaded.align = 8
    return loaded


def _four_times(builder: Any, number: Any) -> Any:
    nothing = ir.Constant(_QUADRUPLE, ir.Undefined)
    first = builder.insert_element(nothing, number, ir.Constant(_INDEX, 0))
    return builder.shuffle_vector(
        first, nothing, ir.Constant(ir.VectorType(_INDEX, 4), [0, 0, 0, 0])
    )


def _horner(builder: Any, coefficients: list[Any], z: Any) -> Any:
    total = coefficients[-1]
    for c in reversed(coefficients[:-1]):
        total = builder.fadd(c, builder.fmul(z, total, flags=("contract",)), flags=("contract",))
    return total


def _slopes(context: Any, builder: Any, sig: Any, args: Any, z: Any, scale: Any) -> Any:
    """Slopes with z of the four cubics at a place, times a scale."""
    terms = []
    for k in range(1, 4):
        power = _four_times(builder, ir.Constant(ir.DoubleType(), float(k)))
        coefficient = _coefficient(context, builder, sig, args, k)
        terms.append(builder.fmul(power, coefficient) if k > 1 else coefficient)
    return builder.fmul(
        _four_times(builder, scale), _horner(builder, terms, _four_times(builder, z))
    )


_THREE = types.containers.UniTuple(types.float64, 3)


def _three_of(context: Any, builder: Any, four: Any) -> Any:
    parts = [builder.extract_element(four, ir.Constant(_INDEX, i)) for i in range(3)]
    return context.make_tuple(builder, _THREE, parts)


@intrinsic
def three_cubics(context: Any, table: Any, place: Any, z: Any) -> Any:
    """The first three of four cubics as numbers, see `cubics`."""
    if table.layout != "C":
        return None

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        coefficients = [_coefficient(context, builder, sig, args, k) for k in range(4)]
        four = _horner(builder, coefficients, _four_times(builder, args[2]))
        return _three_of(context, builder, four)

    return _THREE(table, types.intp, types.float64), lowered


@intrinsic
def three_slopes(context: Any, table: Any, place: Any, z: Any, scale: Any) -> Any:
    """Their slopes with z, times a scale."""
    if table.layout != "C":
        return None

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        four = _slopes(context, builder, sig, args, args[2], args[3])
        return _three_of(context, builder, four)

    return _THREE(table, types.intp, types.float64, types.float64), lowered


@intrinsic
def cubics(context: Any, table: Any, place: Any, z: Any, out: Any, at: Any) -> Any:
    """Four cubics at once: ``out[at:at+4] = sum_k z^k table[place+4k : place+4k+4]``, flat."""

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        z = _four_times(builder, args[2])
        value = _horner(
            builder, [_coefficient(context, builder, sig, args, k) for k in range(4)], z
        )
        goal = _flat(context, builder, sig.args[3], args[3], args[4], _QUADRUPLE)
        builder.store(value, goal).align = 8
        return context.get_dummy_value()

    return types.void(table, types.intp, types.float64, out, types.intp), lowered


@intrinsic
def cubic_slopes(
    context: Any, table: Any, place: Any, z: Any, scale: Any, out: Any, at: Any
) -> Any:
    """Their slopes with z, times a scale."""

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        value = _slopes(context, builder, sig, args, args[2], args[3])
        goal = _flat(context, builder, sig.args[4], args[4], args[5], _QUADRUPLE)
        builder.store(value, goal).align = 8
        return context.get_dummy_value()

    kinds = (table, types.intp, types.float64, types.float64, out, types.intp)
    return types.void(*kinds), lowered


@intrinsic(prefer_literal=True)
def load_fourth(context: Any, array: Any, at: Any, part: Any) -> Any:
    """Pack of every fourth number: ``array[at + part + 4 lane]``, flat; part is a constant."""
    if not isinstance(part, types.IntegerLiteral):
        return None
    constant = part.literal_value

    def lowered(context: Any, builder: Any, sig: Any, args: Any) -> Any:
        whole = ir.VectorType(ir.DoubleType(), 4 * LANES)
        loaded = builder.load(_flat(context, builder, sig.args[0], args[0], args[1], whole))
        loaded.align = 8
        places = ir.Constant(
            ir.VectorType(_INDEX, LANES), [constant + 4 * lane for lane in range(LANES)]
        )
        return builder.shuffle_vector(loaded, ir.Constant(whole, ir.Undefined), places)

    return _pack(array, types.intp, part), lowered
