"""Bugs put in by hand, as somebody in a hurry makes them: file, what stands there, what to put.

Each text stands once in its file, on one line; where code is renamed it is renamed here too.
"""

# ruff: noqa: E501
DELIBERATE = [
    # the store
    ("logger/store/packing/chunks.py", "t_us[1:] < t_us[:-1]", "t_us[1:] > t_us[:-1]"),
    ("logger/quantum.py", "np.add(q, whole", "np.subtract(q, whole"),
    ("logger/quantum.py", "values - quantum.offset if", "values + quantum.offset if"),
    ("logger/store/packing/merge.py", "rows + count > chunks", "rows + count < chunks"),
    ("logger/store/packing/tick_codec.py", "& 0x7F) << shift", "& 0x3F) << shift"),
    ("logger/store/packing/thin.py", "if end_us < before_us", "if end_us > before_us"),
    ("logger/store/packing/thin.py", "(low >= 0), mean + 360", "(low >= 0), mean + 180"),
    ("logger/store/packing/pending.py", "step // 2) // step * step", "step // 3) // step * step"),
    ("logger/store/boots.py", "(boot_clock.mono_us() - last_us) / 1e6", "(boot_clock.mono_us() - last_us) / 1e3"),
    # the pack
    ("analyzer/pack/soc/filter.py", "mean[SOC] - moved, TABLE", "mean[SOC] + moved, TABLE"),
    ("analyzer/pack/soc/filter.py", "by_offset * cov[OFFSET] + moved", "by_offset * cov[OFFSET] - moved"),
    ("analyzer/pack/soc/terminal_current.py", "np.where(amps < 0, amps * kept", "np.where(amps > 0, amps * kept"),
    ("analyzer/pack/soc/inputs.py", "np.exp(-gap_s / p.tau2_s)", "np.exp(-gap_s / p.tau1_s)"),
    ("analyzer/series/recursion.py", "drive * (1.0 - keep)", "drive * (1.0 + keep)"),
    ("analyzer/pack/cell_model.py", "/ (r0 + r1)", "/ (r0 - r1)"),
    ("analyzer/pack/capacity.py", "said[first] - said[last]", "said[last] - said[first]"),
    ("analyzer/pack/charging.py", "(1 - some[\"soc\"])", "(1 + some[\"soc\"])"),
    ("analyzer/pack/soc/after_gap.py", "1.0 - float(np.exp(", "1.0 + float(np.exp("),
    # cables and drive
    ("analyzer/thermal/filter.py", "[[1 - LOOSE_AT_FIRST]", "[[1 + LOOSE_AT_FIRST]"),
    ("analyzer/thermal/loop_resistance.py", "+ gain * innovation_v", "- gain * innovation_v"),
    ("analyzer/thermal/loop_resistance.py", "row[0] - row[1]", "row[1] - row[0]"),
    ("analyzer/thermal/loop_resistance.py", "with_drop / innovation", "with_drop * innovation"),
    ("analyzer/thermal/joints.py", "rated_a**2 * hot_ohm / rated_k", "rated_a**2 * hot_ohm * rated_k"),
    ("analyzer/thermal/joints.py", "rating_c - copper", "rating_c + copper"),
    ("analyzer/thermal/copper.py", "np.maximum(1 - gain", "np.maximum(1 + gain"),
    ("analyzer/thermal/copper.py", "rating_c - ambient_c) /", "rating_c + ambient_c) /"),
    ("analyzer/thermal/drive.py", "times <= AHEAD_S", "times >= AHEAD_S"),
    ("analyzer/thermal/cable_monitor.py", "max(self.load, faded)", "min(self.load, faded)"),
    # range
    ("analyzer/range/run_down/discharge.py", "(pack.resistance_ohm + extra_ohm)", "(pack.resistance_ohm - extra_ohm)"),
    ("analyzer/range/run_down/discharge.py", "np.clip(weak + deficit", "np.clip(weak - deficit"),
    ("analyzer/range/run_down/discharge.py", "np.argmax(ends", "np.argmin(ends"),
    ("analyzer/range/reach.py", "(hotel_w - sun_w)[:, None]", "(hotel_w + sun_w)[:, None]"),
    ("analyzer/range/monte_carlo.py", "+ leg_sd**2 * missing", "- leg_sd**2 * missing"),
    ("analyzer/environment/sails.py", "log_odds - 0.5 * miss", "log_odds + 0.5 * miss"),
    ("analyzer/range/home.py", "- distance_m * math.cos(", "+ distance_m * math.cos("),
    ("analyzer/range/home.py", ">= NEARLY * sure_m.max())[-1]", ">= NEARLY * sure_m.max())[0]"),
    ("analyzer/range/run_down/discharge.py", "left = soc - current_a", "left = soc + current_a"),
    ("analyzer/range/plan.py", "there = arrival_s <= wanted_s", "there = arrival_s > wanted_s"),
    ("analyzer/range/hindcast.py", "off > np.cos", "off < np.cos"),
    ("analyzer/range/thermal_limit.py", "settles > self.limit_c", "settles < self.limit_c"),
    # cells
    ("analyzer/cells/step_resistance.py", "self.sums[1] -= change", "self.sums[1] += change"),
    ("analyzer/cells/step_resistance.py", "np.divide(cross, square", "np.divide(square, cross"),
    ("analyzer/cells/deficit.py", "GRID.charge[:, None] + GRID.loss", "GRID.charge[:, None] - GRID.loss"),
    ("analyzer/cells/deficit.py", "-slope * curve.depth", "slope * curve.depth"),
    ("analyzer/cells/deficit.py", "table.distance_v + table.amps", "table.distance_v - table.amps"),
    ("analyzer/cells/deficit.py", "shown.volts) - fit.explained", "shown.volts) + fit.explained"),
    ("analyzer/cells/sense_leads.py", "_away_s > 0, BACK_V, may_v)", "_away_s > 0, may_v, BACK_V)"),
    # trips
    ("analyzer/trips/ledger.py", "boat.hotel.power_w * part.n", "boat.hotel.power_w / part.n"),
    ("analyzer/trips/ledger.py", "taken = np.maximum(power, 0.0)", "taken = np.minimum(power, 0.0)"),
    ("analyzer/trips/sag.py", "self.charge_used_v + self.ohmic", "self.charge_used_v - self.ohmic"),
    ("analyzer/trips/sag_noise.py", "mean, var = keep * mean", "mean, var = mean"),
    ("analyzer/trips/sag_fit.py", "within + between", "within - between"),
    ("analyzer/trips/trips.py", "current < -rest_a", "current > -rest_a"),
    ("analyzer/trips/trips.py", "speed > MOVING_MPS", "speed < MOVING_MPS"),
    ("analyzer/trips/spans.py", "boot.last_us + boot.timeline", "boot.last_us - boot.timeline"),
    # hull
    ("analyzer/hull/power_curve.py", "(1 - part) * below + part", "(1 - part) * below - part"),
    ("analyzer/hull/curve_fit.py", "prior_cov - cross.T @", "prior_cov + cross.T @"),
    ("analyzer/hull/fouling.py", "/ expected - 1", "/ expected + 1"),
    ("analyzer/hull/steady.py", "LOG_SD_MINUTE**2 / number", "LOG_SD_MINUTE**2 * number"),
    ("analyzer/hull/resistance.py", "* 0.7 * length_m", "/ 0.7 * length_m"),
    # stream, wind, sun
    ("analyzer/environment/stream_fit.py", "= -at * sin[:, None]", "= at * sin[:, None]"),
    ("analyzer/environment/stream.py", "(1 - np.cos(angle)) / angle", "(1 + np.cos(angle)) / angle"),
    ("analyzer/environment/wind.py", "np.abs(ahead) - still", "np.abs(ahead) + still"),
    ("analyzer/environment/persistence.py", "np.sqrt(1 - np.square(kept))", "np.sqrt(1 + np.square(kept))"),
    ("analyzer/environment/solar.py", "bright = clear > LEAST", "bright = clear < LEAST"),
]  # fmt: skip
