"""The simulator's public face: everything a test or the generator needs."""

from sample_logs.boats import BOATS, CATAMARAN, HYDROPLANE, MONO, Boat
from sample_logs.faults import Faults, Gap, Spike
from sample_logs.motorlog import MotorClock
from sample_logs.outing import Outing, simulate_outing
from sample_logs.receiver import Receiver
from sample_logs.scripts import BlowOver, Porpoising, RideScript, ThrottlePumping, Veer, Water
from sample_logs.truth import TruePass, TrueRideEvent, Truth

__all__ = [
    "BOATS",
    "CATAMARAN",
    "HYDROPLANE",
    "MONO",
    "BlowOver",
    "Boat",
    "Faults",
    "Gap",
    "MotorClock",
    "Outing",
    "Porpoising",
    "Receiver",
    "RideScript",
    "Spike",
    "ThrottlePumping",
    "TruePass",
    "TrueRideEvent",
    "Truth",
    "Veer",
    "Water",
    "simulate_outing",
]
