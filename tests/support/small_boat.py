"""The least boat file that says anything. Figures invented."""

AH = 200
BOAT_TEXT = f"""name = "invented"
[hull]
waterline_m = 7.0
beam_waterline_m = 2.3
draught_m = 1.2
displacement_kg = 3000
[pack]
chemistry = "lfp"
cells_in_series = 16
rated_capacity_ah = {AH}
[motor]
rated_power_w = 6000
"""
