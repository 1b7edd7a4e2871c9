"""An invented answer to what would help most."""

from analyzer.answers.gain.rows import GainAnswer, GainRow, UnsaidGain
from analyzer.estimation.estimate import Estimate, cannot_say

GAIN = GainAnswer(
    boat="Tern",
    speed_water_mps=2.5,
    speed_from="by its waterline, as too little motoring is in the log",
    distance=Estimate(20_000.0, 16_000.0, 24_000.0, "m"),
    idle=Estimate(250_000.0, 200_000.0, 300_000.0, "s"),
    rows=(
        GainRow(
            "second_pack",
            "a second pack of 120 Ah beside it",
            Estimate(21_000.0, 17_000.0, 25_000.0, "m"),
            Estimate(250_000.0, 200_000.0, 300_000.0, "s"),
            cannot_say("it stores more and saves nothing", "Wh"),
            "a new one, as such packs are",
        ),
        GainRow(
            "joint",
            "mend the lug of battery negative",
            Estimate(16.0, 9.0, 23.0, "m"),
            cannot_say("the load beside the motor is not changed by it", "s"),
            cannot_say("a year wants 28 days and 3 trips of log", "Wh"),
            "0.87 mΩ too much, as found",
            "the controller's own voltage beside the pack's",
        ),
    ),
    unsaid=(
        UnsaidGain("weak_cell", "level or replace the weak cell", "cells are not measured",
                   "one voltage for each cell or block"),
    ),
    cautions=("Each gain stands by itself.",),
)  # fmt: skip
