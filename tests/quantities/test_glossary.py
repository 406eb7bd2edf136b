from toolbench.quantities import GLOSSARY, KINDS, channel_quantity
from toolbench.quantities.glossary import CHANNELS, METRICS


def test_names_are_those_of_the_contract() -> None:
    # constructed: the channels the analysis knows and the metrics of the results, as the documentation lists them
    assert set(CHANNELS) == {
        "torque", "force", "inlet_pressure", "supply_pressure", "air_flow", "speed", "voltage", "current", "temperature",
        "trigger",
    }  # fmt: skip
    assert set(METRICS) == {
        "at_mark", "sustained", "peak", "rise_time", "time_to", "slope", "regulator_needed", "flowing_pressure", "droop",
    }  # fmt: skip


def test_every_entry_is_complete() -> None:
    for name, quantity in GLOSSARY.items():
        assert quantity.name == name
        assert quantity.label
        assert quantity.definition.endswith((".", "?"))
        assert quantity.dimension_key == "" or quantity.dimension_key in KINDS
        if quantity.dimension_key and quantity.unit != "%":
            assert quantity.unit == KINDS[quantity.dimension_key].si_unit


def test_channel_quantity() -> None:
    assert channel_quantity("inlet_pressure") == "pressure"
    assert channel_quantity("trigger") == ""
    assert channel_quantity("anything") == ""
    assert channel_quantity("sustained") == ""


def test_nothing_claims_what_no_measurement_shows() -> None:
    # constructed: words that no sentence of the program may say
    for quantity in GLOSSARY.values():
        words = quantity.definition.casefold().split()
        assert not {"safe", "certified", "real"} & set(words)
