"""How long ten years of a ring's hold take: ``python tests/benchmarks/hold_speed.py [--smoke]``.

Processor time, on one thread, for craft that are in their slots: of the flights over the turns from which their mean
orbits are read, and of following these for ten years with the trims that keep them.
"""

from __future__ import annotations

import sys
import time

from ringwright.models.flight.smooth_mean import window_s
from ringwright.models.force_choice import chosen_forces
from ringwright.models.reading.scenario_reader import parse_scenario
from ringwright.models.surroundings import Surface
from ringwright.models.units import DAY_S
from ringwright.optimizer.outcome import Kept
from ringwright.optimizer.problem.ring_phase import ring_of
from ringwright.optimizer.robustness.hold_by_forces import InRing, hold_by_forces
from ringwright.optimizer.robustness.staying import slots_and_staying

RINGS = {
    "the Moon, 2 000 km": ('"moon"', "altitude_km = 2000.0\ninclination_deg = 40.0", 4, 1),
    "the Earth, 700 km": ('"earth"', "altitude_km = 700.0\ninclination_deg = 60.0", 4, 1),
    "the Earth, synchronous": ('"earth"', "radius_km = 42164.17\ninclination_deg = 0.0", 4, 1),
    "the Earth, 800 km, 6 planes": ('"earth"', "altitude_km = 800.0\ninclination_deg = 86.0", 11, 6),
    "the Moon, 2 000 km, 6 planes": ('"moon"', "altitude_km = 2000.0\ninclination_deg = 40.0", 11, 6),
}


def text(body: str, size: str, slots: int, planes: int, years: float) -> str:
    """A full ring whose craft meet air and light a little differently."""
    head = (
        f'title = "A ring that is full"\nepoch = 2031-05-01T00:00:00Z\n[body]\nname = {body}\n[ring]\n{size}\n'
        f"slots = {slots}\nplanes = {planes}\nphasing = {planes // 3}\nslot0_deg = 0.0\ntolerance_deg = 0.5\n"
        f"hold_for_d = {365.25 * years}\n[limits]\nfinish_within_d = 5.0\nrevolutions_max = 3\n[forces]\n"
    )
    if planes == 1:
        head = head.replace("planes = 1\nphasing = 0\n", "")
    height = size.splitlines()[0]
    for k in range(slots * planes):
        angle = 360.0 * (k % slots + k // slots * (planes // 3) / planes) / slots
        where = f"plane = {k // slots}, " if planes > 1 else ""
        head += (
            f'[[craft]]\nname = "C{k}"\nstay = true\ndry_mass_kg = {100.0 + k % 5}\n'
            f"propellant_kg = 5.0\nisp_s = 220.0\narea_m2 = 1.0\n"
            f"orbit = {{ {height}, {where}angle_deg = {angle} }}\n"
        )
    return head


def main(arguments: list[str]) -> int:
    """Measure and print a row for each ring."""
    smoke = "--smoke" in arguments
    years = 0.05 if smoke else 10.0
    print(f"{'ring':<30} {'craft':>5} {'degree':>6} {'flights s':>9} {'hold s':>7} {'trims':>6}  followed years")
    for name in list(RINGS)[1:2] if smoke else RINGS:
        body, size, slots, planes = RINGS[name]
        scenario = parse_scenario(text(body, size, slots, planes, years))
        ring, chosen = ring_of(scenario), chosen_forces(scenario)
        kept = [Kept(craft=f"C{k}", slot=k % slots, plane=k // slots, error_rad=0.0) for k in range(slots * planes)]
        begun = time.process_time()
        end_s = 1.1 * window_s(ring)
        at, staying = slots_and_staying(scenario, ring, kept, chosen.field, 0.0, end_s, Surface())
        flown = time.process_time()
        craft = [
            InRing(
                name=one.kept.craft,
                place=(one.kept.plane, one.kept.slot),
                flight=one.flight,
                surface=one.itinerary.surface,
            )
            for one in staying
            if one.flight is not None
        ]
        hold = hold_by_forces(
            at,
            scenario.body,
            chosen.field,
            craft,
            0.0,
            tolerance_rad=scenario.ring.tolerance_rad,
            look_s=scenario.ring.hold_for_s,
        )
        done = time.process_time()
        print(
            f"{name:<30} {len(craft):5d} {chosen.degree:6d} {flown - begun:9.1f} {done - flown:7.1f}"
            f" {len(hold.trims):6d}  {hold.looked_s / 365.25 / DAY_S:.1f}",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
