from toolbench.quantities import GLOSSARY, KINDS, WORDS, channel_quantity
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


def test_words_that_pages_use_are_explained_once() -> None:
    # constructed: words of the trade that sentences, tables and cautions of the pages use without a word of their own
    assert {"sitting", "intermediate_precision", "calibration_line", "block", "span", "family", "departure"} < set(
        WORDS
    )
    assert len(set(WORDS)) == len(WORDS)
    labels = [GLOSSARY[name].label for name in WORDS]
    assert len(set(labels)) == len(labels)
