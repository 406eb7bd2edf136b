"""The standings of a season: levels of the setup that counts, entries' lives, re-tests, epochs, claims, what moved."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from ranked_season import ALONE, BENCH, HEAD, LEVELS, TOOLS, TORQUE, Made, runs_of, write

from toolbench.errors import UsageError
from toolbench.season import Standings, check_season, compare, open_season, rank_tools
from toolbench.season.joining import NO_LINK
from toolbench.season.reducing import reduce_runs
from toolbench.season.standings.claiming import claim_of_report
from toolbench.season.standings.columns import column_value
from toolbench.season.standings.keeping import find_moves, standings_json
from toolbench.season.standings.levels import metrics_correlation
from toolbench.season.standings.outcome import Apart, ClassStandings
from toolbench.season.standings.rows import standings_csv, standings_rows
from toolbench.standings import Score
from toolbench.view.tables import show_claims
from toolbench.view.tables.conditions import conditions

# A recording builds up with 0.2 s; the mean from 1 to 1.5 s lacks 0.2 (exp(-5) - exp(-7.5)) / 0.5 = 0.25 % of its level, so levels
# made from a stated one are expected within 0.5 %.


def _standings(folder: Path, *runs: Made, **facts: str) -> Standings:
    return rank_tools(open_season(write(folder, runs, **facts)))


def _air(standings: Standings) -> ClassStandings:
    return next(one for one in standings.classes if one.supply == "air")


def _score(standings: Standings, tool: str) -> Score:
    return next(score for score in _air(standings).standing.scores.every if score.tool == tool)


def _apart(standings: Standings, tool: str) -> Apart:
    return next(one for one in _air(standings).apart if one.facts.tool.id == tool)


def test_a_mark_is_the_level_that_the_comparison_gives(tmp_path: Path) -> None:
    """Another way to the same number: `compare` judges the same runs as the tools of one setup."""
    standings = _standings(tmp_path, card=ALONE)
    levels = compare(open_season(tmp_path), episode="all", setup="near").levels
    sustained = levels[levels["metric"] == "sustained"].set_index("item")
    for tool in LEVELS:
        mark = _air(standings).entries[tool].marks["torque"].estimate
        assert mark is not None
        assert mark.value == pytest.approx(sustained.loc[tool, "value"], rel=1e-12)
        assert mark.standard_uncertainty == pytest.approx(sustained.loc[tool, "standard_uncertainty"], rel=1e-12)
        assert mark.degrees_of_freedom == pytest.approx(3.0)


def test_the_score_by_hand(tmp_path: Path) -> None:
    """By hand: 60 % of (level - 200) / 800 and 40 % of level / mass / 400, masses 2.5 and 2 kg."""
    standings = _standings(tmp_path)
    for tool, mass in (("wrench-a", 2.5), ("wrench-b", 2.0)):
        mark = _air(standings).entries[tool].marks["torque"].estimate
        assert mark is not None
        assert mark.value == pytest.approx(np.mean(LEVELS[tool]), rel=5e-3)
        by_hand = 60 * (mark.value - 200) / 800 + 40 * mark.value / mass / 400
        assert _score(standings, tool).value == pytest.approx(by_hand, abs=1e-6)
    assert [row.tool for row in _air(standings).standing.ranked] == ["wrench-b", "wrench-a"]
    assert [row.rank for row in _air(standings).standing.ranked] == [1, 2]


def test_metrics_of_the_same_runs_scatter_together(tmp_path: Path) -> None:
    """By hand: with one tool the score's uncertainty is the scatter of the scores that its single runs would have."""
    card = TORQUE.replace('metric = "sustained"\nper = "mass"', 'metric = "at_mark"\nat = "1 s"\nper = "mass"')
    runs = runs_of({"wrench-a": (480.0, 505.0, 495.0, 520.0, 500.0)})
    standings = _standings(tmp_path, *runs, card=card)
    settings = standings.settings
    reduced = reduce_runs(settings, settings.protocols["steady"], settings.runs).runs
    single = []
    for run in reduced:
        sustained, mark = run.metric("torque", "sustained"), run.metric("torque", "at_mark", 1.0)
        assert sustained is not None
        assert mark is not None
        single.append(60 * (sustained.value - 200) / 800 + 40 * mark.value / 2.5 / 400)
    estimate = _score(standings, "wrench-a").estimate
    assert estimate is not None
    assert estimate.value == pytest.approx(np.mean(single), abs=1e-6)
    assert estimate.standard_uncertainty == pytest.approx(np.std(single, ddof=1) / math.sqrt(5), rel=1e-3)
    assert estimate.degrees_of_freedom == pytest.approx(4.0)


def test_correlation_of_metrics_by_hand() -> None:
    """By hand: residuals as shares of the levels (-1, 0, 1) % and (-1, 0, 1) % go together; (1, 0, -1) % against."""
    together = np.array([[99.0, 49.5], [100.0, 50.0], [101.0, 50.5]])
    against = np.array([[99.0, 50.5], [100.0, 50.0], [101.0, 49.5]])
    assert metrics_correlation([together, together])[0, 1] == pytest.approx(1.0)
    assert metrics_correlation([together, against])[0, 1] == pytest.approx(0.0, abs=1e-12)
    assert metrics_correlation([against, against])[0, 1] == pytest.approx(-1.0)
    # two degrees of freedom are too few to learn from
    assert metrics_correlation([together])[0, 1] == 0.0


def test_another_entry_moves_no_other_score(tmp_path: Path) -> None:
    before = _standings(tmp_path / "two")
    tools = TOOLS + "another,Third,New,air,3,300,,,bought,,,,\n"
    later = [*runs_of(), *runs_of({"another": (900.0, 890.0, 910.0)}, day="2026-02-10")]
    after = _standings(tmp_path / "three", *later, tools=tools)
    for tool in LEVELS:
        assert _score(after, tool).value == _score(before, tool).value
    assert [row.tool for row in _air(after).standing.ranked] == ["another", "wrench-b", "wrench-a"]


def test_the_order_of_rows_changes_nothing(tmp_path: Path) -> None:
    folder = write(tmp_path)
    first = standings_csv(rank_tools(open_season(folder)))
    for name in ("runs.csv", "tools.csv"):
        head, *rows = (folder / name).read_text("utf-8").splitlines()
        (folder / name).write_text("\n".join([head, *reversed(rows)]) + "\n", encoding="utf-8")
    assert standings_csv(rank_tools(open_season(folder))) == first


def test_equal_tools_share_a_rank(tmp_path: Path) -> None:
    """Constructed: two tools whose recordings are the same bytes."""
    folder = write(tmp_path, card=ALONE)
    for k in range(1, 5):
        (folder / f"recordings/wrench-b-{k}.csv").write_bytes((folder / f"recordings/wrench-a-{k}.csv").read_bytes())
    one = _air(rank_tools(open_season(folder)))
    assert [row.rank for row in one.standing.ranked] == [1, 1]
    assert one.standing.groups == (("wrench-a", "wrench-b"),)


# values of tools.csv


def test_a_missing_divisor_leaves_a_range(tmp_path: Path) -> None:
    """By hand: without the 40 % of the second criterion the score lies between what the first gives and 40 more."""
    standings = _standings(tmp_path, tools=TOOLS.replace("air,2,200", "air,,200"))
    score = _score(standings, "wrench-b")
    assert score.value is None
    assert score.missing == {"per-mass": "tools.csv line 3: mass is not stated"}
    assert score.highest - score.lowest == pytest.approx(40.0)
    assert score.lowest == pytest.approx(60 * 400 / 800, rel=5e-3)
    finding = next(one for one in standings.findings if one.code == "column-without-value")
    assert (finding.file, finding.line, finding.subjects) == ("tools.csv", 3, ("wrench-b",))
    assert [row.tool for row in _air(standings).standing.ranked] == ["wrench-a"]


def test_what_is_given_away_has_no_value_per_price(tmp_path: Path) -> None:
    """A price of zero is a price; it divides nothing."""
    card = TORQUE.replace('per = "mass"', 'per = "price"').replace("N*m/kg", "N*m/EUR")
    tools = TOOLS.replace("air,2,200", "air,2,0")
    missing = _score(_standings(tmp_path, tools=tools, card=card), "wrench-b").missing
    assert missing == {"per-mass": "tools.csv line 3: price is 0; what a value is divided by must be greater than zero"}


def test_a_column_that_only_the_scorecard_knows(tmp_path: Path) -> None:
    tools = "tool,supply,obtained,noise [dB]\nwrench-a,air,bought,95\nwrench-b,air,bought,loud\n"
    card = TORQUE.replace('per = "mass"', 'per = "noise"').replace("N*m/kg", "N*m/dB")
    standings = _standings(tmp_path, tools=tools, card=card)
    mark = _air(standings).entries["wrench-a"].marks["per-mass"].estimate
    assert mark is not None
    assert (mark.unit, mark.value) == ("N*m/dB", pytest.approx(500 / 95, rel=5e-3))
    assert _air(standings).entries["wrench-b"].marks["per-mass"].missing.endswith('noise "loud" is not a number')
    assert column_value(standings.settings.tools["wrench-a"], "absent") == "tools.csv line 2: absent is not stated"


def test_a_criterion_that_no_tool_has(tmp_path: Path) -> None:
    card = TORQUE.replace('metric = "sustained"\nper = "mass"', 'metric = "droop"').replace("N*m/kg", "kPa")
    standings = _standings(tmp_path, card=card)
    finding = next(one for one in standings.findings if one.code == "criterion-without-value")
    assert finding.file == "bench.toml"
    text = (tmp_path / "bench.toml").read_text("utf-8").splitlines()
    assert finding.line is not None
    assert 'id = "per-mass"' in text[finding.line - 1] or "[[scorecard.criteria]]" in text[finding.line - 1]
    assert finding.message.startswith(
        "scorecard.criteria.per-mass: no tool has a value (no run gives the metric droop)"
    )
    assert _air(standings).standing.ranked == ()


def test_a_level_that_some_runs_do_not_reach_is_missing(tmp_path: Path) -> None:
    card = ALONE.replace('metric = "sustained"', 'metric = "time_to"\nat = "500 N*m"')
    card = card.replace("200 N*m", "3 s").replace("1000 N*m", "0.1 s")
    runs = runs_of({"wrench-a": (500.0, 560.0, 450.0, 560.0), "wrench-b": (600.0, 610.0, 620.0)})
    standings = _standings(tmp_path, *runs, card=card)
    assert _score(standings, "wrench-a").missing["torque"].endswith("of its 4 runs do not reach the level")
    # by hand: a build-up with 0.2 s time constant to 610 N*m passes 500 N*m after 0.2 ln(610 / 110) = 0.343 s
    mark = _air(standings).entries["wrench-b"].marks["torque"].estimate
    assert mark is not None
    assert mark.value == pytest.approx(0.343, abs=0.02)


# entries' lives


def test_lives_stand_apart_with_their_reason(tmp_path: Path) -> None:
    tools = f"""{HEAD}
wrench-a,First,Old,air,2.5,100,,,bought,,,retired,worn out
wrench-b,Second,New,air,2,200,,,lent,other anvil,,,
third,Third,New,air,2,200,,,bought,,,withdrawn,
check,Old,Old,air,2,200,,,bought,,check standard,,
never,Never run,New,air,2,200,,,,,,,
"""
    levels = {**LEVELS, "third": (700.0, 701.0, 699.0), "check": (400.0, 401.0, 402.0)}
    standings = _standings(tmp_path, *runs_of(levels), tools=tools)
    assert _apart(standings, "wrench-a").reason == "retired: worn out"
    assert _apart(standings, "wrench-b").reason == "modified, not as it is on sale: other anvil"
    assert _apart(standings, "third").reason == "withdrawn: no reason stated"
    assert _apart(standings, "never").reason == "not run under Steady on near"
    assert "check" not in _air(standings).facts
    # measured as the others are, it has a score, but no rank
    score = _apart(standings, "wrench-a").score
    assert score is not None
    assert score.value == pytest.approx(60 * 300 / 800 + 40 * 200 / 400, rel=5e-3)
    assert _air(standings).standing.ranked == ()
    codes = {(one.code, one.subjects) for one in standings.findings}
    assert {("status-without-reason", ("third",)), ("not-disclosed", ("never",))} <= codes


def test_check_warns_where_it_is_not_stated_how_a_tool_was_obtained(tmp_path: Path) -> None:
    season = open_season(write(tmp_path, tools=TOOLS.replace("lent", "")))
    found = [one for one in check_season(season).findings if one.code == "not-disclosed"]
    assert [(one.file, one.line, one.severity) for one in found] == [("tools.csv", 3, "doubtful")]
    assert found[0].message == "How Second was obtained is not stated."
    told = open_season(write(tmp_path / "told", tools=TOOLS.replace("lent", "bought")))
    assert not [one for one in check_season(told).findings if one.severity != "note"]


def test_each_kind_of_supply_is_a_class_of_its_own(tmp_path: Path) -> None:
    tools = TOOLS + "drill,Drill,New,,2,200,,,bought,,,,\n"
    runs = [*runs_of(), *runs_of({"drill": (300.0, 301.0, 302.0)}, setup="pack")]
    standings = _standings(tmp_path, *runs, tools=tools)
    assert [(one.supply, one.setup, len(one.standing.ranked)) for one in standings.classes] == [
        ("air", "near", 2),
        ("battery", "pack", 1),
    ]


def test_show_says_how_many_are_shown_and_keeps_the_rest(tmp_path: Path) -> None:
    standings = _standings(tmp_path, card=TORQUE.replace('title = "Wrenches"', "show = 1"))
    assert [(row["tool"], row["shown"]) for row in standings_rows(standings)] == [
        ("wrench-b", "yes"),
        ("wrench-a", "no"),
    ]


def test_runs_on_another_rig_are_another_measurand(tmp_path: Path) -> None:
    runs = [*runs_of({"wrench-a": LEVELS["wrench-a"]}), *runs_of({"wrench-b": LEVELS["wrench-b"]}, logger="other")]
    standings = _standings(tmp_path, *runs)
    assert _apart(standings, "wrench-b").reason == "run on the rig another rig only, not on a rig that is not stated"
    assert [row.tool for row in _air(standings).standing.ranked] == ["wrench-a"]


# re-tests and epochs


@pytest.mark.parametrize(
    ("day", "retest", "expected", "replaced"),
    [
        ("2026-01-24", "replace", 550.0, 0),  # 14 days after: one test
        ("2026-01-25", "replace", 600.0, 3),  # 15 days after: a re-test
        ("2026-01-25", "pool", 550.0, 0),
    ],
)
def test_a_retest_replaces_or_pools(tmp_path: Path, day: str, retest: str, expected: float, replaced: int) -> None:
    card = ALONE.replace("setups =", f'retest = "{retest}"\nsetups =')
    runs = [
        *runs_of({"wrench-a": (499.0, 500.0, 501.0)}, day="2026-01-10"),
        *runs_of({"wrench-a": (599.0, 600.0, 601.0)}, day=day),
        *runs_of({"wrench-b": LEVELS["wrench-b"]}),
    ]
    standings = _standings(tmp_path, *runs, card=card)
    mark = _air(standings).entries["wrench-a"].marks["torque"].estimate
    assert mark is not None
    assert mark.value == pytest.approx(expected, rel=5e-3)
    assert len(_air(standings).facts["wrench-a"].replaced) == replaced


def test_epochs_of_the_rig_are_linked_by_the_check_standard(tmp_path: Path) -> None:
    """Constructed: after the change everything reads 10 % more, and the check standard, run on both sides, shows it."""
    tools = TOOLS + "check,Old,Old,air,2,200,,,bought,,check standard,,\n"
    before = [
        *runs_of({"wrench-a": (500.0, 501.0, 499.0)}, day="2026-01-10"),
        *runs_of({"check": (400.0, 401.0, 399.0)}, day="2026-01-10"),
    ]
    after = runs_of({"wrench-b": (660.0, 661.0, 659.0)}, day="2026-02-10")
    linked = runs_of({"check": (440.0, 441.0, 439.0)}, day="2026-02-10")
    log = "date,changed\n2026-02-01,cell\n"
    standings = _standings(tmp_path / "linked", *before, *after, *linked, tools=tools, card=ALONE, log=log)
    mark = _air(standings).entries["wrench-b"].marks["torque"].estimate
    assert mark is not None
    assert mark.value == pytest.approx(600.0, rel=3e-3)
    assert any(one.code == "epochs-linked" for one in standings.findings)
    lost = _standings(tmp_path / "lost", *before, *after, tools=tools, card=ALONE, log=log)
    assert _apart(lost, "wrench-b").reason == NO_LINK


# what if


def test_what_if_another_setup_counted(tmp_path: Path) -> None:
    runs = [*runs_of(), *runs_of({"wrench-b": (400.0, 402.0, 398.0)}, setup="far")]
    season = open_season(write(tmp_path, runs))
    asked = rank_tools(season, what_if={"wrench-b": "far"})
    mark = _air(asked).entries["wrench-b"].marks["torque"].estimate
    assert mark is not None
    assert mark.value == pytest.approx(400.0, rel=3e-3)
    assert asked.asked == ("wrench-b on far",)
    assert _score(rank_tools(season), "wrench-b").value != _score(asked, "wrench-b").value


def test_what_if_another_weight_or_anchor(tmp_path: Path) -> None:
    """By hand: 30 % torque leaves 70 % to the other criterion; anchors of 0 and 500 make 600 N*m all."""
    season = open_season(write(tmp_path))
    asked = rank_tools(season, weights={"torque": 0.3}, anchors={"torque": (0.0, 500.0)})
    assert [c.weight for c in asked.criteria] == pytest.approx([0.3, 0.7])
    mark = _air(asked).entries["wrench-b"].marks["per-mass"].estimate
    assert mark is not None
    assert _score(asked, "wrench-b").value == pytest.approx(30.0 + 70 * mark.value / 400, abs=1e-6)


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"what_if": {"wrench-c": "far"}}, "there is no tool 'wrench-c'"),
        ({"what_if": {"wrench-a": "fra"}}, "there is no setup 'fra'"),
        ({"weights": {"torq": 0.3}}, "there is no criterion 'torq'"),
        ({"anchors": {"torque": (3.0, 3.0)}}, "two finite values that differ"),
    ],
)
def test_a_question_that_names_nothing_is_refused(
    tmp_path: Path, facts: dict[str, dict[str, object]], words: str
) -> None:
    season = open_season(write(tmp_path))
    with pytest.raises(UsageError, match=words):
        rank_tools(season, **facts)  # type: ignore[arg-type]


def test_a_season_without_scorecard_has_no_standings(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="has no scorecard"):
        _standings(tmp_path, card="")


# claims


@pytest.mark.parametrize(
    ("claim", "kind", "verdict", "why"),
    [
        ("550", "tightening", "supported", ""),
        ("700", "tightening", "not shown", ""),
        ("600", "tightening", "inconclusive", ""),
        ("550", "loosening", "not comparable", "loosening is claimed and tightening was measured"),
        ("550", "peak", "not comparable", "a peak is claimed"),
        ("550", "", "not comparable", "what kind of torque is claimed is not stated"),
    ],
)
def test_claims(tmp_path: Path, claim: str, kind: str, verdict: str, why: str) -> None:
    tools = TOOLS.replace("air,2,200,,,lent", f"air,2,200,{claim},{kind},lent")
    (found,) = _air(_standings(tmp_path, tools=tools)).claims
    assert found.tool == "wrench-b"
    assert (found.judged.verdict, found.judged.claimed) == (verdict, float(claim))
    assert why in found.judged.reason


def test_a_claim_for_a_pressure_is_judged_near_that_pressure_only(tmp_path: Path) -> None:
    head = HEAD.replace("claim_kind", "claim_kind,claim_pressure [bar]")
    tools = f"{head}\nwrench-a,First,Old,air,2.5,100,450,tightening,6.3,bought,,,,\nwrench-b,,,air,,,,,,bought,,,,\n"
    (found,) = _air(_standings(tmp_path, *runs_of({"wrench-a": LEVELS["wrench-a"]}), tools=tools)).claims
    assert (found.judged.verdict, found.pressure_pa) == ("not comparable", pytest.approx(6.3e5))
    assert "the flowing pressure was not recorded" in found.judged.reason


def _with_pressure(folder: Path, pressures: tuple[float, ...], tools: str) -> Standings:
    """The first tool's runs with a constant inlet pressure each [bar]; those after the second are of a second criterion's protocol."""
    bench = BENCH.replace(
        'channels.torque = "Torque [N*m]"\n',
        'channels.torque = "Torque [N*m]"\nchannels.inlet_pressure = "Inlet [bar]"\n',
        1,
    )
    again = 'duration = "1.5 s"\nmarks = ["1 s"]\nwindow = ["1 s", "1.5 s"]\n'
    bench = bench.replace('["wrench-a", "wrench-b"]', '["wrench-a"]').replace(
        "[setups.near]", f'[protocols.again]\nmeasurand = "mean torque"\n{again}\n[setups.near]'
    )
    head, first, second = TORQUE.partition('id = "per-mass"')
    card = head + first + second.replace('"steady"', '"again"')
    write(folder, [Made("wrench-a", 500.0) for _ in pressures], card=card, tools=tools, bench=bench)
    runs = (folder / "runs.csv").read_text(encoding="utf-8").splitlines()
    rows = [row if place <= 2 else row.replace(",steady,", ",again,") for place, row in enumerate(runs)]
    (folder / "runs.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    for place, pressure in enumerate(pressures, start=1):
        file = folder / f"recordings/wrench-a-{place}.csv"
        top, *lines = file.read_text(encoding="utf-8").splitlines()
        text = "\n".join([f"{top},Inlet [bar]", *(f"{line},{pressure}" for line in lines)])
        file.write_text(text + "\n", encoding="utf-8")
    return rank_tools(open_season(folder))


@pytest.mark.parametrize(("claimed_at", "verdict"), [("6.3", "supported"), ("5.3", "not comparable")])
def test_the_pressure_of_a_claim_is_held_against_the_runs_that_judge_it(
    tmp_path: Path, claimed_at: str, verdict: str
) -> None:
    """Constructed: the judging runs ran at 6.2 bar, those of the other criterion at 4.4 bar; the mean of all is 5.3 bar."""
    head = HEAD.replace("claim_kind", "claim_kind,claim_pressure [bar]")
    tools = f"{head}\nwrench-a,First,Old,air,2.5,100,450,tightening,{claimed_at},bought,,,,\n"
    (found,) = _air(_with_pressure(tmp_path, (6.1, 6.3, 4.3, 4.5), tools)).claims
    assert (found.judged.verdict, found.judged_at_pa) == (verdict, None)


def test_a_verdict_on_a_claim_without_a_pressure_says_at_which_it_holds(tmp_path: Path) -> None:
    tools = f"{HEAD}\nwrench-a,First,Old,air,2.5,100,700,tightening,bought,,,,\n"
    standings = _with_pressure(tmp_path, (6.1, 6.3, 4.3, 4.5), tools)
    (found,) = _air(standings).claims
    assert found.judged_at_pa == pytest.approx(6.2e5)  # the mean of the two runs that judge it
    assert "not shown at 6.20\u2009bar" in show_claims(standings).text


def test_a_report_of_a_tool_says_what_its_baseline_makes_of_the_claim(tmp_path: Path) -> None:
    tools = TOOLS.replace("air,2,200,,,lent", "air,2,200,700,tightening,lent")
    bench = BENCH.replace(
        'tools = ["wrench-a", "wrench-b"]\nsetups = ["near"]', 'tools = ["wrench-b"]\nsetups = ["near", "far"]'
    )
    runs = [*runs_of(), *runs_of({"wrench-b": (800.0, 802.0, 798.0)}, setup="far")]
    season = open_season(write(tmp_path, runs, tools=tools, bench=bench))
    record = compare(season, episode="all", tool="wrench-b").record
    claim = claim_of_report(record, season.settings)
    assert claim is not None
    assert claim.judged.verdict == "not shown"
    assert (
        dict(conditions(record, season.settings))["Claimed torque"]
        == "700\u2009N·m (tightening); by the baseline not shown"
    )
    first = compare(open_season(write(tmp_path / "tools")), episode="all", setup="near")
    assert claim_of_report(first.record, first.settings) is None


# what moved


def _moves(before: Standings, after: Standings) -> dict[str, tuple[str, tuple[str, ...], bool | None]]:
    found = find_moves(after, standings_json(before)).get("air", ())
    return {
        move.tool: (f"{move.rank_before} {move.rank_after}", move.causes, move.beyond_uncertainty) for move in found
    }


def test_the_same_records_move_nobody(tmp_path: Path) -> None:
    before = _standings(tmp_path)
    assert standings_json(before) == standings_json(rank_tools(open_season(tmp_path)))
    assert _moves(before, before) == {}


def test_who_moved_and_why(tmp_path: Path) -> None:
    before = _standings(tmp_path / "before")
    more = [*runs_of(), *runs_of({"wrench-a": (501.0,)}, day="2026-01-11")]
    assert _moves(before, _standings(tmp_path / "runs", *more)) == {"wrench-a": ("2 2", ("new runs",), False)}
    price = _standings(tmp_path / "price", tools=TOOLS.replace("2.5,100", "2.5,90"))
    assert _moves(before, price) == {"wrench-a": ("2 2", ("price",), False)}
    new = TOOLS + "another,Third,New,air,3,300,,,bought,,,,\n"
    third = [*runs_of(), *runs_of({"another": (900.0, 890.0, 910.0)}, day="2026-01-11")]
    assert _moves(before, _standings(tmp_path / "new", *third, tools=new)) == {
        "another": ("None 1", ("new entry",), None),
        "wrench-b": ("1 2", ("others moved",), False),
        "wrench-a": ("2 3", ("others moved",), False),
    }
    retired = _standings(tmp_path / "retired", tools=TOOLS.replace("lent,,,,", "lent,,,retired,worn"))
    assert _moves(before, retired)["wrench-b"] == ("1 None", ("retired",), None)


def test_a_corrected_recording_is_told_and_is_beyond_its_uncertainty(tmp_path: Path) -> None:
    """Constructed: every run of one tool is replaced by one 40 % higher, with a correction notice."""
    before = _standings(tmp_path / "before")
    notice = '\n[[corrections]]\ndate = 2026-03-01\nnote = "arm"\ntools = ["wrench-a"]\n'
    runs = runs_of({"wrench-a": (700.0, 705.0, 695.0, 700.0), "wrench-b": LEVELS["wrench-b"]})
    after = _standings(tmp_path / "after", *runs, bench=BENCH + notice)
    assert _moves(before, after)["wrench-a"] == ("2 1", ("corrected recording",), True)
    assert _air(after).facts["wrench-a"].notices == ("2026-03-01: arm",)


def test_what_is_no_state_is_refused(tmp_path: Path) -> None:
    standings = _standings(tmp_path)
    for text in ("{}", "[1]", "no json", '{"format": 99, "classes": []}'):
        with pytest.raises(UsageError):
            find_moves(standings, text)
