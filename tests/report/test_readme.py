"""The README's figures of the demo are those of a run."""

from __future__ import annotations

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
    first = frame[frame["scenario"] == results.study.scenarios[1].name].head(3)["assumption"].tolist()
    assert first == ["sectionalizer_cost", "line_fault_rate_per_km", "crew_rate_per_hour"]
    assert "first the price of a unit, then the fault rate and the crew rate" in SAID


def test_what_an_import_of_the_demo_exports_prints(tmp_path, capsys):
    """The command as the README gives it, but for the folder of the study."""
    command = README.split("<!-- import command -->")[1].split("```bash\n")[1].split("```")[0].split()
    target = str(tmp_path / "my-study")
    assert main([target if word == "my-study" else word for word in command[3:]]) == 0
    printed = capsys.readouterr().out.replace("\u202f", " ").splitlines()      # thin spaces are plain there
    assert printed[-1].startswith("Wrote ")
    assert "\n".join(f"   {line}" for line in printed[:-1]) in README
