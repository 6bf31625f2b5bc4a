"""Blade, contact, clip, cable and body around the element, against networks and fins on paper."""

from __future__ import annotations

from dataclasses import replace

from ...errors import SolveError
from ...fuse.element import round_wire
from ...fuse.model import Blade, Body, Cable, Clip, Contact, FuseModel, Side
from ...physics.metals import metal
from ...solver.run import simulate
from ...solver.steady import SteadyState, steady_state
from ..case import Case, case
from ..models import constant, lump, straight

_AMBIENT_C = 20.0
_PAPER = "closed form evaluated with mpmath to 25 digits"
_NOTHING = 1e-6  # heat capacity of a part that is to have none [J/K]


def _outside(
    blade_heat: float, clip: Clip, cable: Cable | None = None, *, ohms: float = 1e-3
) -> FuseModel:
    """Blade of 1 mOhm, contact of .4 mOhm, clip and cable; the element only lies between."""
    blade = Blade(blade_heat, 0.0, ohms, 0.0)
    left = Side(blade, Contact(0.4e-3, 2.0), clip, cable)
    return replace(lump(capacity=1.0, loss=0.0, ohms=0.0), left=left)


def _bodied(body: Body) -> FuseModel:
    """Wire of constant properties, 20 mm by 1 mm, that gives its heat to the body alone."""
    plain = replace(
        metal("copper"),
        density=8960.0,
        resistivity_table=straight(5e-8),
        conductivity_table=straight(400.0),
        specific_heat_table=straight(385.0),
    )
    ends = Side(Blade(heat_capacity=1e-12))
    return FuseModel(round_wire(plain, 1e-3, 20e-3), body, ends, ends)


def _steady(model: FuseModel, current: float) -> SteadyState:
    found = steady_state(model, current, ambient_c=_AMBIENT_C)
    if found is None:
        raise SolveError("no-steady-start", f"no steady state at {current:g} A")
    return found


@case(
    "terminal-clip-rise",
    "blade, contact and clip at 40 A: rise of the clip, which takes all their heat",
    unit="K",
    expected=44.8,
    relative=1e-7,
    source="I² (R_blade + R_contact) / G",
    origin="computed",
    calls="fusetherm.steady_state",
    integrates=True,
)
def _clip_rise() -> float:
    steady = _steady(_outside(2.0, Clip(5.0, 0.05)), 40.0)
    return steady.node_temperature_c["clip_left"] - _AMBIENT_C


@case(
    "terminal-contact-drop",
    "the same: blade above clip, over a contact that conducts as twice Wiedemann-Franz",
    unit="K",
    expected=49.1198438456838,
    relative=1e-7,
    source="I² (R_blade + R_contact/2) R_contact / (2 L 320 K), Sommerfeld's L",
    origin="computed",
    calls="fusetherm.steady_state",
    integrates=True,
)
def _contact_drop() -> float:
    steady = _steady(_outside(2.0, Clip(5.0, 0.05)), 40.0)
    return steady.node_temperature_c["blade_left"] - steady.node_temperature_c["clip_left"]


def _two_nodes(node: str, time: float, rise: float) -> Case:
    @case(
        f"terminal-two-nodes-{node}-{time:g}s",
        f"blade of 2 J/K and clip of 5 J/K after {time:g} s at 40 A: rise of the {node}",
        unit="K",
        expected=rise,
        relative=1e-6,
        source=f"matrix exponential of the two nodes, {_PAPER}",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        model = _outside(2.0, Clip(5.0, 0.05))
        run = simulate(model, constant(40.0, time), ambient_c=_AMBIENT_C, tolerance=1e-8)
        return float(run.node_temperature_c[f"{node}_left"][-1]) - _AMBIENT_C

    return measured


def _cable_steady(name: str, what: str, length: float, loss: float, rise: float) -> Case:
    @case(
        f"terminal-cable-{name}",
        f"clip on {what} of 6 mm² cable at 40 A: steady rise of the clip",
        unit="K",
        expected=rise,
        relative=0.02,
        source=f"fin with its own Joule heat, far end adiabatic, {_PAPER}; 2 % for 8 cells",
        origin="computed",
        calls="fusetherm.steady_state",
        integrates=True,
    )
    def measured() -> float:
        model = _outside(_NOTHING, Clip(_NOTHING, loss), Cable(6e-6, length, 4.4e-3, 12.0))
        return _steady(model, 40.0).node_temperature_c["clip_left"] - _AMBIENT_C

    return measured


def _cable_step(time: float, rise: float) -> Case:
    @case(
        f"terminal-cable-step-{time:g}s",
        f"clip on 1 m of 6 mm² cable, {time:g} s after 40 A begins: rise of the clip",
        unit="K",
        expected=rise,
        relative=0.01,
        source=f"step of heat and Joule heat on an endless fin, {_PAPER}; 1 % for 16 cells",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        model = _outside(_NOTHING, Clip(_NOTHING, 0.0), Cable(6e-6, 1.0, 4.4e-3, 12.0, 16))
        run = simulate(model, constant(40.0, time), ambient_c=_AMBIENT_C, tolerance=1e-7)
        return float(run.node_temperature_c["clip_left"][-1]) - _AMBIENT_C

    return measured


@case(
    "body-steady-element",
    "evenly heated wire in a body at 20 A: rise of the wire",
    unit="K",
    expected=57.29577951308238,
    relative=1e-7,
    source="I² R (1/G_gap + 1/G_body)",
    origin="computed",
    calls="fusetherm.steady_state",
    integrates=True,
)
def _body_steady() -> float:
    model = _bodied(Body(heat_capacity=0.5, conductance=0.02, element_loss=0.8))
    return _steady(model, 20.0).peak_temperature_c - _AMBIENT_C


@case(
    "body-radiation-element",
    "evenly heated wire that only radiates to its body, 60 A: temperature of the wire",
    unit="K",
    expected=1275.5842415883672,
    relative=1e-7,
    source="eps sigma A (T⁴ - T_body⁴) = I² R, sigma of CODATA 2018, root found with mpmath",
    origin="computed",
    calls="fusetherm.steady_state",
    integrates=True,
)
def _body_radiation() -> float:
    body = Body(heat_capacity=0.5, conductance=0.02, element_loss=0.0, element_emissivity=0.5)
    return _steady(_bodied(body), 60.0).peak_temperature_c + 273.15


def _body_step(node: str, time: float, rise: float) -> Case:
    @case(
        f"body-step-{node}-{time:g}s",
        f"evenly heated wire in a body, {time:g} s after 20 A begins: rise of the {node}",
        unit="K",
        expected=rise,
        relative=1e-6,
        source=f"matrix exponential of wire and body, {_PAPER}",
        origin="computed",
        calls="fusetherm.simulate",
        integrates=True,
    )
    def measured() -> float:
        model = _bodied(Body(heat_capacity=0.5, conductance=0.02, element_loss=0.8))
        run = simulate(model, constant(20.0, time), ambient_c=_AMBIENT_C, tolerance=1e-8)
        trace = run.element_temperature_c if node == "wire" else run.node_temperature_c[node]
        return float(trace[-1]) - _AMBIENT_C

    return measured


ROWS = (
    _clip_rise,
    _contact_drop,
    _two_nodes("blade", 5.0, 4.59047442421745),
    _two_nodes("clip", 5.0, 0.394547400316265),
    _two_nodes("blade", 30.0, 22.6223789270854),
    _two_nodes("clip", 30.0, 3.88696509212651),
    _cable_steady("long", "1 m", 1.0, 0.0, 151.397070782841),
    _cable_steady("short", "10 cm", 0.1, 0.0, 213.219617292860),
    _cable_steady("beside-a-holder", "a holder and 1 m", 1.0, 0.05, 41.0837527954147),
    _cable_step(60.0, 72.0872227994924),
    _cable_step(300.0, 131.320608180105),
    _body_steady,
    _body_radiation,
    _body_step("wire", 2.0, 14.2817958038455),
    _body_step("body", 20.0, 11.4744873949154),
)
