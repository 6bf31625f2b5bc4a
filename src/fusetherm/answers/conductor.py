"""Does this fuse protect this conductor? The wire's damage laid over the latest the fuse opens."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt

from ..conductor.circuit import Circuit
from ..conductor.damage import DamageCurve, damage_curve, start_temperature
from ..conductor.wire import Wire, continuous_current
from ..current.waveform import Waveform
from ..errors import InputError, Note
from ..fuse.gates import gate_table
from ..fuse.model import FuseModel
from ..solver.steady import minimum_fusing_current
from ..units import REFERENCE_AMBIENT_C, kelvin, takes
from ..written import apart, measure, number, seconds
from .curve import time_current_curve
from .fault import fault_course
from .late import ARC_COUNTS, Arc, ClassCurve, LateCurve, late_factors
from .protection import FarEnd, Gap, Protection, ProtectionName
from .record_remarks import clipped
from .subject import ConnectionName, Subject, cells_of, model_of, refuse_molten, subject_notes

Floats = npt.NDArray[np.float64]
#: Currents looked at, and how far they go without a circuit, over the rated current.
POINTS, FAR = 60, 10.0
#: Negative peak of a fault over its positive one from which it alternates (own choice).
ALTERNATES = 0.5
#: Halvings where a gap may begin, end or hide, and how near two currents may then come.
_ROUNDS, _FINE = 4, 1.004


@takes(fuse_ambient_c="degC", wire_ambient_c="degC", load="A")
def protect(
    subject: Subject,
    wire: Wire,
    *,
    fuse_ambient_c: float,
    wire_ambient_c: float,
    circuit: Circuit | None = None,
    load: float | None = None,
    gates: Sequence[str] | None = None,
    operating_i2t: float | None = None,
    arcing_allowance: float | None = None,
    fault: Waveform | None = None,
    parallel: int = 1,
    connection: ConnectionName = "installed",
) -> Protection:
    """Say whether a fuse ends every current before it damages a conductor.

    Parameters
    ----------
    subject : FuseModel or Calibration
        The fuse.
    wire : Wire
        The conductor.
    fuse_ambient_c, wire_ambient_c : float
        Coldest place the fuse may be in, hottest the conductor may be in [degC].
    circuit : Circuit, optional
        Source and loop; without it nothing is shown to be protected.
    load : float, optional
        Current the conductor carries before [A]; by default the rated current of the fuse.
    gates : sequence of str, optional
        Gate tables of the fuse's class; by default those of its definition.
    operating_i2t : float, optional
        Largest published operating I²t [A²s].
    arcing_allowance : float, optional
        Factor on the pre-arcing I²t for the arc, 1 or more.
    fault : Waveform, optional
        A fault current, followed through wire and fuse.
    parallel : int
        Fuses side by side; of more than one nothing is shown.
    connection : {"installed", "test"}
        Connection of a calibration.

    Returns
    -------
    Protection

    Raises
    ------
    InputError
        ``rating-missing``, ``arcing-allowance``, ``ambient-above-insulation``.

    Notes
    -----
    The fuse at its late edge (99 % of units), from cold at its coldest; the conductor from the
    load before, at its hottest. *Not protected*: a current from the lesser of rating and
    conductor's limit up to the prospective one damages the conductor before the fuse, or any
    fuse of its class, ends it; or the fuse's rating is above the conductor's limit; or a short
    at the far end never opens it; or the fault given damages it; or the circuit is more than
    the fuse can break, in voltage or in current. *Not shown*: class, circuit,
    breaking capacity or rated voltage unknown; or the fault's record is clipped; or it melts
    within 100 ms, and of the arc that follows nothing is stated. Else *protected*.
    """
    model = model_of(subject, connection)
    refuse_molten(model, fuse_ambient_c)
    rated = model.rated_current
    if rated is None:
        raise InputError(
            "rating-missing", "the model has no rated current", expected="its rated current"
        )
    arc = Arc(operating_i2t, arcing_allowance)
    limit = continuous_current(wire, wire_ambient_c)
    prospective = None if circuit is None else circuit.prospective_current
    if parallel < 1:
        raise InputError("not-positive", f"{parallel} fuses in parallel", expected="1 or more")
    beyond, unknown = _capacity(subject, circuit)
    side_by_side = _side_by_side(parallel)
    unknown += [note.text for note in side_by_side]
    if fault is not None and clipped(fault.notes):
        unknown.append("the record of the fault is clipped: more flowed than was recorded")
    curve = time_current_curve(subject, ambient_c=fuse_ambient_c, connection=connection)
    late = LateCurve.of(curve)
    of_class = _class(subject, model, gates, rated, fuse_ambient_c)
    load = rated if load is None else load
    damage_of = _damage(wire, wire_ambient_c, load)

    far = None
    if circuit is not None:
        ohms = _hot_resistance(model)
        current = circuit.far_end_current(wire, wire.insulation.class_c, ohms)
        far = FarEnd(
            current,
            arc.cleared(current, late.at(current)),
            None if of_class is None else _class_cleared(of_class, arc, current),
            float(damage_of([current]).time[0]),
        )
    top = FAR * rated if prospective is None else prospective
    grid = _grid(rated, limit, top, late, of_class, far)
    start_c = start_temperature(wire, load, wire_ambient_c)

    def laid(currents: Floats) -> Floats:
        """Damage, parting, clearing by fuse and by class, a row each [s]."""
        some = currents.tolist()
        parts = [late.at(i) for i in some]
        ends = [arc.cleared(i, t) for i, t in zip(some, parts, strict=True)]
        others = [math.nan if of_class is None else _class_cleared(of_class, arc, i) for i in some]
        return np.array([damage_of(currents).time, parts, ends, others])

    grid, (damaged, parted, fuse_time, class_time) = _refined(grid, laid)
    gaps = _gaps(grid, damaged, fuse_time)
    class_gaps = () if of_class is None else _gaps(grid, damaged, class_time)
    course = None
    if fault is not None:
        course = fault_course(
            model, wire, fault, late_factor=float(late_factors(curve).max()),
            fuse_ambient_c=fuse_ambient_c, wire_ambient_c=wire_ambient_c,
            start_c=start_c, cells=cells_of(subject),
        )  # fmt: skip

    above = _above(rated, limit, wire)
    never = _never_opens(far, late)
    broken = [] if course is None else course.damages
    brief = _arcless(arc.stated, parted, "the fuse")
    own: list[str] = [
        *above,
        *(note.text for note in beyond),
        *[f"the latest fuse leaves a gap, {gap}" for gap in gaps],
        *never,
        *broken,
    ]
    by_class = [*above, *[f"its class leaves a gap, {gap}" for gap in class_gaps]]
    by_class += _never_by_class(far, of_class)
    class_unknown = _class_unknown(of_class, arc, class_time)
    fitted_verdict = _decided(own, brief)
    class_verdict = _decided(by_class, class_unknown)
    doubts = [*unknown, *brief, *class_unknown]
    bad = list(dict.fromkeys([*own, *by_class]))
    verdict = _decided(bad, doubts)
    good = (
        f"every current from {measure(float(grid[0]), 'A')} to {measure(float(grid[-1]), 'A')} "
        "ends before it damages the conductor, in the latest fuse and in any of its class"
    )
    return Protection(
        verdict=verdict,
        fitted_verdict=fitted_verdict,
        class_verdict=class_verdict,
        reasons=tuple(bad or doubts or [good]),
        name=model.name,
        rated_current=rated,
        wire=wire,
        fuse_ambient_c=fuse_ambient_c,
        wire_ambient_c=wire_ambient_c,
        load=load,
        start_c=start_c,
        conductor_limit=limit,
        late_least=late.least,
        class_least=None if of_class is None else of_class.least,
        class_names=() if of_class is None else of_class.names,
        prospective=prospective,
        current=grid,
        damage_time=damaged,
        fuse_time=fuse_time,
        class_time=class_time,
        gaps=gaps,
        class_gaps=class_gaps,
        far_end=far,
        fault=course,
        median=curve,
        notes=tuple(
            dict.fromkeys(
                subject_notes(subject, connection)
                + curve.notes
                + beyond
                + (() if fault is None else fault.notes)
                + _alternating(fault)
                + side_by_side
                + _remarks(model, wire, fuse_ambient_c, wire_ambient_c, bool(above), bool(never))
            )
        ),
    )


def _decided(bad: Sequence[str], doubts: Sequence[str]) -> ProtectionName:
    return "not_protected" if bad else "not_shown" if doubts else "protected"


def _damage(
    wire: Wire, ambient_c: float, load: float
) -> Callable[[Sequence[float] | Floats], DamageCurve]:
    return lambda currents: damage_curve(wire, currents, ambient_c=ambient_c, load=load)


def _capacity(subject: Subject, circuit: Circuit | None) -> tuple[tuple[Note, ...], list[str]]:
    """Why a fuse cannot break a circuit, and what is not known of the two."""
    if circuit is None:
        return (), ["source and loop of the circuit are not stated"]
    definition = None if isinstance(subject, FuseModel) else subject.definition
    volts = None if definition is None else definition.rated_voltage
    amperes = None if definition is None else definition.breaking_capacity
    beyond: list[Note] = []
    if volts is not None and circuit.strongest_voltage > volts:
        text = (
            f"the system has {measure(circuit.strongest_voltage, 'V')} and the fuse is for "
            f"{measure(volts, 'V')}: above its voltage it may not break the arc"
        )
        beyond.append(Note("voltage-above-fuse", text))
    if amperes is not None and circuit.prospective_current > amperes:
        text = (
            f"the strongest source drives {measure(circuit.prospective_current, 'A')} and the fuse "
            f"breaks {measure(amperes, 'A')}: it may burst and go on burning"
        )
        beyond.append(Note("breaking-capacity-exceeded", text))
    found = [] if volts is not None else ["the rated voltage of the fuse is not stated"]
    found += [] if amperes is not None else ["its breaking capacity is not stated"]
    return tuple(beyond), found


def _side_by_side(parallel: int) -> tuple[Note, ...]:
    """What cannot be shown of fuses in parallel."""
    if parallel == 1:
        return ()
    text = (
        f"{parallel} fuses in parallel share the current by their contacts, unequally, and the "
        "last to open breaks all of it: nothing is shown of them"
    )
    return (Note("parallel-fuses", text),)


def _alternating(fault: Waveform | None) -> tuple[Note, ...]:
    """Remark on a fault that goes to and fro: what breaks one kind may not break the other."""
    if fault is None:
        return ()
    low, high = fault.extremes
    if low > -ALTERNATES * high:
        return ()
    text = (
        "the fault alternates: it heats as direct current of its rms does, but rated voltage and "
        "breaking capacity hold for one kind of current, and the definition does not say which"
    )
    return (Note("alternating-fault", text),)


def _class(
    subject: Subject,
    model: FuseModel,
    gates: Sequence[str] | None,
    rated: float,
    ambient_c: float,
) -> ClassCurve | None:
    """Gates of the class, in the cold of the fuse."""
    names = gates
    if names is None:
        names = () if isinstance(subject, FuseModel) else subject.definition.gates
    if not names:
        return None
    tables = tuple(gate_table(name) for name in names)
    cells = cells_of(subject)
    cold, room = (
        minimum_fusing_current(model, ambient_c=at, cells=cells)
        for at in (ambient_c, REFERENCE_AMBIENT_C)
    )
    return ClassCurve.of(tables, rated, cold / room)


def _class_cleared(of_class: ClassCurve, arc: Arc, current: float) -> float:
    """Time at a current; an operating I²t is that of one fuse, not of its class [s]."""
    return Arc(allowance=arc.allowance).cleared(current, of_class.at(current))


def _class_unknown(of_class: ClassCurve | None, arc: Arc, times: Floats) -> list[str]:
    if of_class is None:
        return ["no gates of its class are stated, and a spare may be of any make"]
    return _arcless(arc.allowance is not None, times, "a fuse of its class")


def _arcless(stated: bool, times: Floats, who: str) -> list[str]:
    """What cannot be shown for want of the arc's part."""
    if stated or not np.any(times < ARC_COUNTS):
        return []
    return [
        f"{who} melts within {seconds(ARC_COUNTS)} at the largest currents, where the arc that "
        "follows counts: give an allowance for it on the pre-arcing I²t, or for the fuse fitted "
        "its published operating I²t"
    ]


def _hot_resistance(model: FuseModel) -> float:
    """Resistance of fuse and contacts, all of the element about to melt [ohm]."""
    metal = model.element.metal
    growth = float(metal.resistivity(metal.solidus_k) / metal.resistivity(kelvin(20.0)))
    contacts = sum(
        side.contact.resistance for side in (model.left, model.right) if side.contact is not None
    )
    return model.cold_resistance() * growth + contacts


def _grid(
    rated: float,
    limit: float,
    top: float,
    late: LateCurve,
    of_class: ClassCurve | None,
    far: FarEnd | None,
) -> Floats:
    """Currents [A] from the lesser of rating and conductor's limit, edges from both sides."""
    low = min(rated, limit)
    top = max(top, 1.05 * low)
    edges = [limit, late.least]
    edges += [] if of_class is None else [at for at, _ in of_class.points]
    beside = [e * f for e in edges for f in (1.0 - 1e-6, 1.0 + 1e-6)]
    beside += [] if far is None else [far.current]
    grid = np.concatenate((np.geomspace(low, top, POINTS), beside))
    return np.unique(grid[(grid >= low) & (grid <= top)])


def _refined(grid: Floats, laid: Callable[[Floats], Floats]) -> tuple[Floats, Floats]:
    """Currents halved where a gap begins or ends, or may lie between two of them.

    All times fall with the current: between neighbours none is cleared later than at the lower
    and none is damaged earlier than at the higher.
    """
    rows = laid(grid)
    for _ in range(_ROUNDS):
        damaged, later = rows[0], np.fmax(rows[2], rows[3])
        bad = np.isfinite(damaged) & (later > damaged)
        doubtful = (later[:-1] > damaged[1:]) & ~(bad[:-1] & bad[1:])
        wide = grid[1:] > grid[:-1] * _FINE
        at = np.flatnonzero(doubtful & wide)
        if not len(at):
            break
        middle = np.sqrt(grid[at] * grid[at + 1])
        grid = np.insert(grid, at + 1, middle)
        rows = np.insert(rows, at + 1, laid(middle), axis=1)
    return grid, rows


def _gaps(grid: Floats, damaged: Floats, cleared: Floats) -> tuple[Gap, ...]:
    """Ranges of current in which the damage comes first."""
    bad = np.isfinite(damaged) & (cleared > damaged)
    found = []
    edges = np.flatnonzero(np.diff(np.concatenate(([0], bad.astype(int), [0]))))
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        here = slice(first, end)
        # of those that are never ended the one that damages soonest
        never = np.isinf(cleared[here])
        late = (
            np.where(never, 1.0 / damaged[here], 0.0)
            if never.any()
            else (cleared[here] / damaged[here])
        )
        worst = first + int(np.argmax(late))
        found.append(
            Gap(
                float(grid[first]), float(grid[end - 1]), float(grid[worst]),
                float(damaged[worst]), float(cleared[worst]),
            )
        )  # fmt: skip
    return tuple(found)


def _above(rated: float, limit: float, wire: Wire) -> list[str]:
    if rated <= limit:
        return []
    fuse, carried = apart(rated, limit, 1)
    return [
        f"the fuse is rated {fuse} A, and the conductor carries {carried} A at "
        f"{number(wire.insulation.class_c, 6)} °C: no setting makes that right"
    ]


def _never_opens(far: FarEnd | None, late: LateCurve) -> list[str]:
    if far is None or math.isfinite(far.cleared):
        return []
    flows, least = apart(far.current, late.least, 1)
    return [
        f"a short at the far end draws {flows} A on the weakest source and may never open the "
        f"fuse, which is sure to open above {least} A"
    ]


def _never_by_class(far: FarEnd | None, of_class: ClassCurve | None) -> list[str]:
    if far is None or of_class is None or far.current >= of_class.least:
        return []
    flows, least = apart(far.current, of_class.least, 1)
    return [
        f"a short at the far end draws {flows} A on the weakest source, and its class allows a "
        f"fuse never to open up to {least} A"
    ]


def _remarks(
    model: FuseModel, wire: Wire, fuse_c: float, wire_c: float, above: bool, never: bool
) -> tuple[Note, ...]:
    found = []
    if above:
        found.append(
            Note("fuse-above-conductor", "the rating of the fuse is above the conductor's limit")
        )
    if never:
        found.append(
            Note("far-end-never-opens", "a short at the far end may flow for ever: a fire's cause")
        )
    if fuse_c > wire_c:
        text = (
            f"the fuse at its coldest, {number(fuse_c, 6)} °C, is warmer than the conductor at "
            f"its hottest, {number(wire_c, 6)} °C"
        )
        found.append(Note("ambients-crossed", text))
    sections = [s.cable.section for s in (model.left, model.right) if s.cable is not None]
    if sections and min(abs(math.log(one / wire.section)) for one in sections) > 0.05:
        text = (
            f"the fuse sits on {' and '.join(number(1e6 * s) for s in dict.fromkeys(sections))} "
            f"mm² in its connection, and the conductor has {number(1e6 * wire.section)} mm²: the "
            "cable at its terminals cools a fuse and makes it later"
        )
        found.append(Note("conductor-differs", text))
    return tuple(found)
