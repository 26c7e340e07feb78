"""What was proved about plan 1, and on which figures, in a sentence."""

from __future__ import annotations

import math

from ..models.readouts import plain, span
from ..optimizer.outcome import PhaseProof, Proof
from .wording import AIM_WORDS


def proof_text(proof: Proof) -> str:
    """Say whether plan 1 is proved best, and how far flown plans differ from the figures that the proof is on."""
    over = f"over the {proof.over} of {plain(proof.options, 0)} options"
    if proof.free_form:
        over += (
            f", {plain(proof.free_form, 0)} of them free-form flights (that no other of the same finish is cheaper is "
            "not proved)"
        )
    aim = AIM_WORDS.get(proof.aim, proof.aim)
    if proof.status == "optimal":
        return f"Plan 1 has {aim}: proved {over}{_all_phases(proof)}.{_difference_text(proof)}{_phase_text(proof)}"
    if not math.isfinite(proof.gap):
        return f"Plan 1 aims at {aim}, but nothing is proved about it {over}."
    bound = _of_aim(proof, proof.bound)
    return (
        f"Plan 1 aims at {aim}; it is not proved best. No plan {over} gets below {bound}, "
        f"so it is within {100.0 * proof.gap:.2f} % of the best.{_difference_text(proof)}{_phase_text(proof)}"
    )


def _of_aim(proof: Proof, value: float) -> str:
    return span(value) if proof.unit == "s" else f"{plain(value)} {proof.unit}"


def _difference_text(proof: Proof) -> str:
    """What the bound is on, where flown plans differ from what the catalogue says by what is printed."""
    if round(proof.flown_differs_by, 1) == 0.0 or not math.isfinite(proof.catalogue_bound):
        return ""
    flown = (
        f"every plan that could be {_digit(proof)} better by that was flown"
        if proof.all_flown
        else "not every plan that could be best by that was flown"
    )
    return (
        f" In the catalogue no plan is below {_of_aim(proof, proof.catalogue_bound)}; in flight plans differ from the "
        f"catalogue by up to {_of_aim(proof, proof.flown_differs_by)}, and {flown}."
    )


def _phase_text(proof: Proof) -> str:
    """That a free phase of the ring was set by a rule, which is all the proof is about; empty where none is better."""
    if proof.phases is not None:
        return _chosen_text(proof.phases)
    nothing_below = proof.status == "optimal" and proof.aim != "finish" and proof.bound <= 0.0
    if not proof.phase or nothing_below:
        return ""
    return f" This holds for the phase of the ring as a rule sets it ({proof.phase}); another phase could be better."


def _all_phases(proof: Proof) -> str:
    """That the proof is over all phases of the ring, and how finely."""
    if proof.phases is None or not proof.phases.proved:
        return ""
    return f" and over all phases of the ring, to {_digit(proof)}"


def _digit(proof: Proof) -> str:
    return {"s": "a minute", "kg": "0.1 kg"}.get(proof.unit, "0.1 m/s")


def _chosen_text(phases: PhaseProof) -> str:
    """How a phase was chosen about which nothing is proved; empty where something is."""
    if phases.proved or math.isfinite(phases.bound):
        return ""
    if phases.tried == 1:
        return " This holds for one phase of the ring, the only one that was planned; another could be better."
    return f" This holds for the best of {phases.tried} phases of the ring that were planned; another could be better."
