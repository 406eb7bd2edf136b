"""Times and values that no test bench gives: refused with a sentence, with no warning from the arithmetic (warnings are errors)."""

import numpy as np
import pytest

from toolbench.errors import SignalError
from toolbench.signal import find_onset

TIME = np.arange(520) / 200
TORQUE = 500 * np.clip(TIME - 0.6, 0, 1)


# Constructed: a run of 2.6 s at 200 Hz, its time or its torque spoilt.
@pytest.mark.parametrize(
    ("time", "torque", "said"),
    [
        (np.repeat(TIME[::2], 2), TORQUE, "does not rise from sample to sample"),
        (0 * TIME, TORQUE, "does not rise from sample to sample"),
        (TIME * 1e-300, TORQUE, "cannot be"),
        (TIME * 1e300, TORQUE, "cannot be"),
        (TIME, TORQUE * 1e300, "beyond all measure"),
        (TIME, np.where(TIME == 2, -1e200, TORQUE), "beyond all measure"),
    ],
)
def test_no_recording_of_a_tool_is_refused(time, torque, said):
    with pytest.raises(SignalError, match=said):
        find_onset(time, torque)


def test_an_infinite_cell_alone_counts_as_missing():
    spoilt = np.where(np.arange(520) == 400, np.inf, TORQUE)
    assert find_onset(TIME, spoilt).time_s == pytest.approx(0.6, abs=0.005)
