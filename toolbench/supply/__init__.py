"""The supply: what air, battery and mains leave at the tool. Pure numpy and scipy; SI, pressures absolute (`_pa_abs`)."""
