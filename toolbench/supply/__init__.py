"""The supply: what air, battery and mains leave at the tool. Pure numpy, scipy and fluids; SI, pressures absolute (`_pa_abs`)."""
