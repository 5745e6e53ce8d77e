"""Write the sample logs again: ``python -m sample_logs.generate [FOLDER]``.

Three outings at Lake Ombrevel, which does not exist; nor do the boats and their drivers. Each has a speed
log, a motor log and a ``*_truth.json`` that says what really happened.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import pandas as pd

from sample_logs import data_folder
from sample_logs.outing import LAKE_LAT_DEG, LAKE_LON_DEG
from sample_logs.simulator import (
    CATAMARAN,
    HYDROPLANE,
    MONO,
    BlowOver,
    Boat,
    Faults,
    Outing,
    Porpoising,
    Receiver,
    RideScript,
    Water,
    simulate_outing,
)
from sample_logs.writers import MotorStyle, motor_to_csv, to_csv, to_fit, to_gpx, to_nmea
from telemetry.core.frames import Track
from telemetry.core.units import SIXTEENTH_MILE_M

SCHEMA: Final = "reciprocal-sample-truth/1"
RECEIVER: Final = Receiver(rate_hz=10.0, lag_s=0.03, shared_scale=1e-4)
DISTANCES_M: Final = (SIXTEENTH_MILE_M, 100.0, 50.0)


@dataclass(frozen=True, kw_only=True)
class Scenario:
    """One outing of the samples.

    ``files`` names each speed log with its writer; the first is of the main receiver, a second one of another
    recorder aboard at 1 Hz.
    """

    name: str
    story: str
    driver: str
    seed: int
    boat: Boat
    start_utc: str
    water: Water
    files: dict[str, Callable[[Track], bytes]]
    motor_style: MotorStyle
    two_way: tuple[int, int] = (0, 1)
    ride: RideScript = field(default_factory=RideScript)
    faults: Faults = field(default_factory=Faults)

    def outing(self, receiver: Receiver) -> Outing:
        """Simulate it as a receiver aboard would log it."""
        return simulate_outing(
            self.seed,
            boat=self.boat,
            receiver=receiver,
            water=self.water,
            faults=self.faults,
            ride=self.ride,
            motor_rate_hz=25.0,
            start_utc=pd.Timestamp(self.start_utc),
        )


SCENARIOS: Final = (
    Scenario(
        name="four_passes",
        story="Four clean passes on a calm evening; a second recorder at 1 Hz lay beside the first.",
        driver="Runa",
        seed=11,
        boat=CATAMARAN,
        start_utc="2025-06-14T17:40:00Z",
        water=Water(current_east_mps=0.12, current_north_mps=-0.05, wind_east_mps=1.2, wind_north_mps=0.8),
        files={"four_passes.gpx": to_gpx, "four_passes_second_recorder.fit": to_fit},
        motor_style="brackets",
    ),
    Scenario(
        name="blow_over",
        story="Two passes, then the boat flies on the third; false spikes and lost fixes besides.",
        driver="Teodor",
        seed=55,
        boat=HYDROPLANE,
        start_utc="2025-06-21T09:12:00Z",
        water=Water(0.05, 0.10, -2.5, 1.5, chop_speed_sd_mps=0.03, chop_heave_sd_m=0.006),
        files={"blow_over.nmea": to_nmea},
        motor_style="decimal comma",
        ride=RideScript(
            porpoising=(Porpoising(2, "at speed", 3.4, 0.9, 0.35, 0.6, 2.2, start_s=4.3),),
            blow_over=BlowOver(2, start_s=6.5, stop_s=0.3, lost_fix_s=4.0),
        ),
        faults=Faults(single=1, several=1, at_rest=1, first_fix=True, gaps=1, no_fix=1, held=1, duplicates=2),
    ),
    Scenario(
        name="porpoising",
        story="Porpoising at each take-off that dies away as the hull comes on plane.",
        driver="Runa",
        seed=37,
        boat=MONO,
        start_utc="2025-07-05T10:05:00Z",
        water=Water(-0.08, 0.02, 0.5, -1.0),
        files={"porpoising.csv": to_csv},
        motor_style="units row",
        ride=RideScript(
            porpoising=tuple(Porpoising(i, "take-off", 2.9 + 0.1 * i, -0.5, 0.30, 0.5, 2.6) for i in range(4))
        ),
    ),
)


def _truth(scenario: Scenario, outing: Outing) -> dict[str, Any]:
    """Tell what really happened, times in seconds after ``start_utc``."""
    truth = outing.truth
    first, second = scenario.two_way
    gates = truth.place_gates(SIXTEENTH_MILE_M, scenario.two_way)
    return {
        "schema": SCHEMA,
        "story": scenario.story,
        "lake": {"name": "Lake Ombrevel (invented)", "lat_deg": LAKE_LAT_DEG, "lon_deg": LAKE_LON_DEG},
        "driver": scenario.driver,
        "seed": scenario.seed,
        "start_utc": scenario.start_utc,
        "speed_logs": list(scenario.files),
        "motor_log": f"{scenario.name}_motor.csv",
        "boat": asdict(outing.boat),
        "water": asdict(outing.water),
        "receiver": asdict(outing.receiver),
        "pack_resistance_ohm": outing.pack_resistance_ohm,
        "motor_clock": asdict(outing.motor_clock),
        "passes": [
            asdict(p)
            | {"best_average_mps": {f"{d:g}": truth.best_average_mps(p.index, d) for d in DISTANCES_M}}
            for p in outing.passes
        ],
        "two_way": {
            "passes": [first, second],
            "gates": [{"lat_deg": lat, "lon_deg": lon} for lat, lon in gates],
            "distance_m": SIXTEENTH_MILE_M,
            "speeds_mps": [truth.gate_speed_mps(i, *gates) for i in scenario.two_way],
            "mean_of_speeds_mps": truth.mean_two_way_mps(first, second, *gates),
            "mean_of_times_mps": truth.mean_two_way_mps(first, second, *gates, mean="of times"),
        },
        "spikes": [asdict(s) for s in outing.spikes],
        "dropouts": [asdict(g) for g in outing.dropouts],
        "ride_events": [asdict(e) for e in outing.ride_events],
    }


def _rounded(value: Any) -> Any:
    """Keep twelve significant digits, which put a gate within a micrometre; NaN becomes null."""
    if isinstance(value, float):
        return float(f"{value:.12g}") if value == value else None
    if isinstance(value, dict):
        return {k: _rounded(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_rounded(v) for v in value]
    return value


def build(scenario: Scenario) -> dict[str, bytes]:
    """Make the files of one scenario: name to content."""
    outing = scenario.outing(RECEIVER)
    writers = list(scenario.files.items())
    files = {name: write(outing.track) for name, write in writers[:1]}
    files |= {
        name: write(scenario.outing(replace(RECEIVER, rate_hz=1.0)).track) for name, write in writers[1:]
    }
    motor = motor_to_csv(outing.motor, scenario.motor_style, outing.boat.pole_pairs)
    files[f"{scenario.name}_motor.csv"] = motor
    text = json.dumps(_rounded(_truth(scenario, outing)), indent=1, ensure_ascii=False)
    files[f"{scenario.name}_truth.json"] = f"{text}\n".encode()
    return files


def write_all(folder: Path) -> list[Path]:
    """Write every sample file into a folder; returns the paths written."""
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for scenario in SCENARIOS:
        for name, content in build(scenario).items():
            path = folder / name
            path.write_bytes(content)
            written.append(path)
    return written


if __name__ == "__main__":
    for path in write_all(Path(sys.argv[1]) if len(sys.argv) > 1 else data_folder()):
        print(f"{path}  {path.stat().st_size / 1024:.0f} kB")
