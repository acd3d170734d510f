"""The README's figures of the demo are those of a run."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from reliability.__main__ import main, outline
from reliability.network.conversions import named_heads
from reliability.network.devices import MELTS

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
SAID = " ".join(README.split())


def money(amount: float) -> str:
    """To the unit, thousands by spaces from five digits on or from four."""
    return f"{amount:,.0f}".replace(",", " ")


def test_what_a_run_prints(results, summary_json):
    printed = "\n".join([*(f"note: {note}" for note in results.study.notes), outline(summary_json)])
    assert f"```\n{printed}\n```" in README


def test_every_lateral_converted(results):
    built, everywhere, fast = (results.indices.set_index("scenario").loc[name] for name in (
        "As built", "All laterals sectionalized", "Fast tripping everywhere"))
    heads = named_heads(results.network, results.study.scenarios[1])
    fused = heads[MELTS[results.network.device[heads]]]
    minutes = built["saidi_min"] - everywhere["saidi_min"]
    assert f"Converting all {len(fused)} fused laterals and branches" in SAID
    assert f"spares the average customer {minutes:.1f} minutes" in SAID
    assert f"adds {everywhere['maifi_e'] - built['maifi_e']:.1f} momentary events a customer" in SAID
    assert "gives four fifths of the minutes" in SAID
    assert (built["saidi_min"] - fast["saidi_min"]) / minutes == pytest.approx(0.8, abs=0.02)


def test_money_of_scenarios(summary_json):
    case = {s["name"]: s["business"] for s in summary_json["scenarios"]}
    everywhere, pilot = case["All laterals sectionalized"], case["Pilot of five laterals"]
    assert f"costs {everywhere['capex'] / 1e6:.1f} million: it does not pay" in SAID
    assert everywhere["npv"] < 0
    assert f"of the minutes for {money(case['Fast tripping everywhere']['capex'])}." in SAID
    assert f"costs {money(pilot['capex'])} and is worth {money(pilot['npv'])} more than that today" in SAID


def test_the_selection(results):
    totals = results.plan.choice.totals
    assert (f"the {totals['laterals']:.0f} laterals that pay for themselves ({money(totals['capex'])} of capital, net "
            f"present value {money(totals['npv'])})") in SAID


def test_the_three_first_drivers(results):
    frame = results.sensitivity
    first = frame[frame["scenario"] == "Proposed"].head(3)["assumption"].tolist()
    assert first == ["line_fault_rate_per_km", "refuse_crew_hours", "crew_rate_per_hour"]
    assert "for `Proposed`: first the fault rate, then the crew hours of a fuse replacement and the crew rate" in SAID


def test_how_many_of_the_ranges_are_defaults(demo):
    assert f"{len(demo.default_ranges)} of the {len(demo.uncertain)} ranges are defaults" in SAID


@pytest.mark.parametrize(("mark", "target"), [("import", "my-import"), ("town import", "my-town")])
def test_what_an_import_of_the_exports_prints(mark, target, tmp_path, capsys):
    """The commands as the README gives them, but for the folder of the study."""
    command = README.split(f"<!-- {mark} command -->")[1].split("```bash\n")[1].split("```")[0].split()
    folder = str(tmp_path / target)
    assert main([folder if word == target else word for word in command[3:]]) == 0
    printed = capsys.readouterr().out.replace("\u202f", " ").splitlines()      # thin spaces are plain there
    assert printed[-1].startswith("Wrote ")
    assert "\n".join(f"   {line}" for line in printed[:-1]) in README


def rounded(amount: float) -> str:
    """Money to three figures."""
    return money(float(f"{amount:.3g}"))


def test_what_a_run_of_the_town_prints(town_summary):
    assert "```\n" + "\n".join(f"   {line}" for line in outline(town_summary).splitlines()) + "\n   ```" in README


def test_what_is_proposed_for_the_town(town_results, town_summary):
    built, proposed = (next(s for s in town_summary["scenarios"] if s["name"] == n) for n in ("As built", "Proposed"))
    now, then, case = built["expected"], proposed["expected"], proposed["business"]
    calls = [sum(expected["callouts"].values()) for expected in (now, then)]
    laterals = town_results.plan.choice.totals["laterals"]
    assert f"Sectionalizers on {laterals:.0f} laterals, for {rounded(case['capex'])}." in SAID
    assert (f"spare the crews {calls[0] - calls[1]:.0f} call-outs a year and the average customer "
            f"{now['saifi'] - then['saifi']:.2f} interruptions and {now['saidi_min'] - then['saidi_min']:.0f} minutes, "
            f"and add {then['maifi_e'] - now['maifi_e']:.2f} momentary events") in SAID
    assert f"worth {rounded(case['npv'])} more than it costs over 20 years, positive in every trial" in SAID
    assert case["probability_npv_positive"] == 1.0
    assert f"pays back in {case['payback_years']:.1f} years" in SAID


def test_what_turns_society_s_view_of_the_town(town_summary):
    case = {s["name"]: s["business"] for s in town_summary["scenarios"]}
    everything = case["All laterals sectionalized"]
    turns = [case[name]["break_even"]["momentary_cost_factor"] for name in ("Proposed", "All laterals sectionalized")]
    assert f"costs customers less than {turns[0]:.1f} times what the surveys say" in SAID
    assert (f"it costs {rounded(everything['capex'])}, is worth less, {rounded(everything['npv'])}, and society loses "
            f"unless a momentary event costs less than {turns[1]:.2g} of the survey value") in SAID


def test_the_town_s_other_ways_and_what_would_change_it(town_results, town_summary):
    of = {s["name"]: s for s in town_summary["scenarios"]}
    fast, calls = of["Fast tripping everywhere"], {n: sum(s["expected"]["callouts"].values()) for n, s in of.items()}
    assert (f"costs {money(fast['business']['capex'])} and spares "
            f"{calls['As built'] - calls['Fast tripping everywhere']:.0f} call-outs") in SAID
    drivers = town_results.sensitivity.query("scenario == 'Proposed'")
    assert drivers["assumption"].head(3).tolist() == ["refuse_crew_hours", "crew_rate_per_hour",
                                                      "fault_rates_from_records"]
    assert "`drivers.csv`: the crew hours of a fuse replacement, the crew rate and the fault rates" in SAID
    assert (drivers["npv_low"] > 0).all()
    assert (drivers["npv_high"] > 0).all()
    verdict = town_results.application.set_index("lateral_id")["verdict"]
    count = verdict[town_results.selection["section_id"]].value_counts()
    assert (f"Of the {count.sum()} laterals {count['pass']} pass the application checks, {count['review']} are for "
            "review, as solar generation can feed the dead line (of one, as the sequence outlasts the memory), and of "
            f"{count['unknown']} the peak load") in SAID
    chosen = town_results.application.set_index("lateral_id").loc[town_results.selection["section_id"]]
    assert ((chosen["verdict"] == "review") & (chosen["sequence"] == "review")).sum() == 1


def test_the_town_s_records(tmp_path):
    folder = Path(__file__).parents[2] / "data" / "wooded_town"
    assert main(["history", str(folder), "--out", str(tmp_path / "out")]) == 0
    history = json.loads((tmp_path / "out" / "history.json").read_text(encoding="utf-8"))
    year = history["years"]["2024"]
    whole, part = year["all"], year["without_major_events"]
    assert (f"a SAIFI of {whole['saifi']:.2f} and a SAIDI of {whole['saidi_min']:.0f} minutes in 2024, "
            f"{part['saifi']:.2f} and {part['saidi_min']:.0f} without its four major event days") in SAID
    assert len(year["major_event_days"]) == 4
    ratio = history["calibration"]["system"]["saifi_ratio"]
    assert f"the records show {ratio:.2f} times the modelled SAIFI, which is within chance" in SAID
    assert history["calibration"]["rate_factor"] is None
