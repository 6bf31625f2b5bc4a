"""The cautions that stand once on every decision."""

from __future__ import annotations

#: Plain sentences, in the order they are printed.
CAUTIONS = (
    "This is a prediction for a new fuse, not a certification.",
    "Never fit a larger fuse than the conductor allows.",
    "Melting is not clearing: the arc that follows is outside this model.",
    "A spare may be of another make, with another curve.",
    "Local codes, the maker's data and licensed practice decide.",
)

#: What a question on a conductor adds.
CONDUCTOR_CAUTIONS = (
    "The wire between source and fuse is protected by nothing: keep it short and guarded.",
    "Where petrol or gas may gather, fuse and holder must be protected against ignition.",
    "Never replace a fuse in a live circuit.",
)
