"""fusetherm: does this fuse carry this current, how near does it come to melting, and why.

Every public name lives in one of the modules below and is loaded when it is first used,
so that ``import fusetherm`` stays cheap. ``__init__.pyi`` says the same to type checkers;
a test keeps the two in step. To publish a name, add it to both.
"""

from importlib import import_module as _import_module

__version__ = "0.1.0"

#: Module of this package -> the names it gives to the public.
_PUBLIC = {
    "errors": (
        "CalibrationError",
        "ExtrapolationWarning",
        "FileError",
        "FusethermError",
        "FusethermWarning",
        "InputError",
        "Note",
        "SolveError",
        "UndeterminedWarning",
        "WriteError",
    ),
    "physics.metals": ("METALS", "Metal", "alloy", "metal"),
    "fuse.element": ("Element", "Section", "round_wire"),
    "fuse.model": ("FuseModel",),
    "fuse.definition": ("Definition", "load_fuse"),
    "current.waveform": ("Waveform",),
    "current.capture": ("Capture", "read_capture"),
    "solver.run": ("Run", "simulate"),
    "solver.driven": ("Drive", "simulate_driven"),
    "solver.steady": ("minimum_fusing_current", "steady_state"),
    "fuse.family": ("Family", "load_family"),
    "calibration.curve_models.compare": (
        "CurveComparison",
        "compare_curve_models",
        "fit_curve_model",
    ),
    "calibration.fit": ("Calibration", "calibrate"),
    "calibration.stored": ("load_fit",),
    "life.duty": ("Duty", "DutyEvent"),
    "life.duty_file": ("load_duty",),
    "conductor.circuit": ("Circuit",),
    "conductor.insulation": ("INSULATIONS", "Insulation", "insulation"),
    "conductor.wire": ("Wire",),
    "answers.margin": ("Margin", "margin"),
    "answers.curve": ("time_current_curve",),
    "answers.carry": ("carry",),
    "answers.explain": ("Explanation", "explain"),
    "answers.spread": ("spread",),
    "answers.rerating": ("rerate",),
    "answers.drop": ("drop",),
    "answers.endurance": ("Endurance", "endurance"),
    "answers.endurance_limits": ("EnduranceLimit", "endurance_limit"),
    "answers.selectivity": ("selectivity",),
    "answers.screen": ("screen",),
    "answers.box.air": ("Box",),
    "answers.box.plan": ("load_box",),
    "answers.box.ways": ("Way",),
    "answers.fusebox": ("FuseBox", "fusebox"),
    "answers.conductor": ("protect",),
    "answers.protection": ("Protection",),
    "sweeps.run": ("open_sweep", "sweep"),
}

#: Submodules that are public as they stand, such as ``fusetherm.demo``.
_SUBMODULES = ("demo", "verify")

_HOME = {name: module for module, names in _PUBLIC.items() for name in names}

__all__ = sorted([*_HOME, *_SUBMODULES, "__version__"])


def __getattr__(name: str) -> object:
    """Load a public name from its module at first use."""
    if name in _SUBMODULES:
        return _import_module(f"{__name__}.{name}")
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(_import_module(f"{__name__}.{_HOME[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    """Public names only."""
    return list(__all__)
