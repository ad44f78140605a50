"""The hand-over: rates found on the wires, read back by a lift, and the count level that counts as the wires do.

A driven move of 60 mm of set A with 60 kg (a scenario, so that both levels fly the same file): heard on the wires with 200
seeds, and counted by rates with 200 seeds.  The table comes from other seeds of the same kind of move.
"""

from __future__ import annotations

import tomllib
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from numpy.typing import NDArray
from rehearsals import EXAMPLES
from scipy.stats import ks_2samp

from scenarios.build import build_rig
from scenarios.cli import cli
from scenarios.errors import InputError
from scenarios.files import load_lift, load_scenario
from scenarios.files.rates import Rates
from scenarios.files.scenario import Scenario
from scenarios.runner import fly_rig
from scenarios.signal_bench import bench_move
from scenarios.signal_detectors import Setting, chains, setting_of
from scenarios.signal_flight import fly_scenario
from scenarios.signal_rates import find_rates, rates_text
from scenarios.signal_run import listen, truth
from scenarios.signal_study import Flown

SEEDS = 200
SIMPLE = """
kind = "scenario"
name = "60 mm"
lift = "lift.toml"
settings = "settings.toml"
about = "Down for 60 mm at full duty, power cut, coast."
end_s = 2.2

[start]
height_mm = 300.0
referenced = true

[payload]
mass_kg = 90.0
at_mm = [0.0, 0.0]

[[move]]
at_s = 0.05
drive_duty = -1.0
off_after_s = 1.5
"""


def written(folder: Path, rates: str | None = None) -> Path:
    """The scenario beside a worktop whose detectors name ``rates``, or hear everything."""
    lift = (EXAMPLES / "worktop" / "worktop.toml").read_text()
    begin, end = lift.index("[every_leg.detector]"), lift.index("[every_leg.current_sensor]")
    perfect = ("edge_false_on", "edge_false_off", "start_miss_mean", "start_miss_sd", "run_miss", "run_false", "run_double", "tail_rpm")
    told = "".join(f"{key} = 0.0\n" for key in (*perfect, "flyback_us")) if rates is None else f'rates = "{rates}"\n'
    lift = lift[:begin] + '[every_leg.detector]\nkind = "spikes"\n' + told + "\n" + lift[end:]
    (folder / "lift.toml").write_text(lift)
    (folder / "settings.toml").write_text((EXAMPLES / "worktop" / "settings.toml").read_text())
    path = folder / "move.toml"
    path.write_text(SIMPLE)
    return path


def wires_of(scenario: Scenario) -> tuple[Flown, Setting]:
    leg = scenario.lift.leg[0]
    return Flown("60 mm", leg, fly_scenario(scenario)[0]), setting_of(leg, bench_move(scenario.lift, "left", 1))


def heard_on_wires(flown: Flown, setting: Setting, condition: str, seeds: range) -> NDArray[np.int64]:
    nets = []
    for seed in seeds:
        source = flown.source(condition == "worn", seed)
        chain = chains(flown.leg, setting)["spikes"]
        listen(source, [chain])
        nets.append(len(chain.heard()) - len(truth(source)))
    return np.array(nets)


def counted(scenario: Scenario, seeds: range) -> NDArray[np.int64]:
    nets = []
    for seed in seeds:
        rig = build_rig(scenario, seed)
        fly_rig(rig)
        leg = rig["world"][0]["legs"][0]
        nets.append(int(leg["detector"]["heard"]) - int(leg["motor"]["commuted"]))
    return np.array(nets)


def changed(rates: Rates, factor: float) -> Rates:
    def band(one: Any) -> Any:
        names = ("missed", "doubled", "false")
        return one.model_copy(update={name: tuple(min(0.95, factor * rate) for rate in getattr(one, name)) for name in names})

    return rates.model_copy(update={"coasting": band(rates.coasting), "driven": tuple(band(one) for one in rates.driven)})


@lru_cache
def by_hand(folder: Path) -> tuple[Flown, Setting]:
    return wires_of(load_scenario(written(folder)))


@pytest.mark.slow
def test_wires_and_rates_give_the_same_distribution_of_net_counts(tmp_path: Path) -> None:
    flown, setting = by_hand(tmp_path)
    on_wires = heard_on_wires(flown, setting, "new", range(1000, 1000 + SEEDS))
    rates = find_rates([flown], "new", "spikes", setting, range(80))
    (tmp_path / "found.toml").write_text(rates_text(rates))
    (tmp_path / "more.toml").write_text(rates_text(changed(rates, 1.5)))
    by_rates = counted(load_scenario(written(tmp_path, "found.toml")), range(SEEDS))
    by_more = counted(load_scenario(written(tmp_path, "more.toml")), range(SEEDS))
    print(f"wires {on_wires.mean():+.2f} sd {on_wires.std():.2f}; rates {by_rates.mean():+.2f} sd {by_rates.std():.2f}")
    print(f"rates x 1.5 {by_more.mean():+.2f} sd {by_more.std():.2f}; KS p {ks_2samp(on_wires, by_rates).pvalue:.3f}")

    assert abs(on_wires.mean() - by_rates.mean()) < 0.5
    assert abs(by_rates.std() / on_wires.std() - 1.0) < 0.2
    assert ks_2samp(on_wires, by_rates).pvalue > 0.01
    assert ks_2samp(on_wires, by_more).pvalue < 0.01


def test_where_nothing_goes_wrong_both_levels_give_the_true_counts(tmp_path: Path) -> None:
    """No jitter, noise or spread, and a threshold that the last spike of the coast still reaches."""
    path = written(tmp_path)
    quiet = [f"lift.every_leg.commutator.{key}=0" for key in ("spread", "segment_spread", "jitter", "make_share", "remake_share")]
    quiet += ["lift.every_leg.wires.noise_mv=0", "lift.every_leg.wires.switching_ripple_mv=0", "lift.every_leg.wires.sense_at=motor"]
    quiet += ["lift.every_leg.spike_detector.threshold_mv=60", "lift.every_leg.spike_detector.blank_switch_us=0"]
    quiet += ["lift.every_leg.spike_detector.lockout_us=100", "lift.every_leg.spike_detector.coupling_khz=20"]
    quiet += ["lift.supply.capacitance_mf=100"]  # a supply that sags quickly leaves 40 mV behind the coupling
    quiet += ["lift.every_leg.bridge.current_limit_a=100"]  # no chopping at the start, which hides spikes behind edges
    scenario = load_scenario(path, quiet)
    flown, setting = wires_of(scenario)
    source = flown.source(False, 5)
    chain = chains(flown.leg, setting)["spikes"]
    listen(source, [chain])
    true = truth(source)
    rig = build_rig(scenario, 5)
    fly_rig(rig)
    leg = rig["world"][0]["legs"][0]

    assert len(true) == int(leg["motor"]["commuted"]) == int(leg["detector"]["heard"])
    # the two edges of the power-on and the cut are heard as well, since nothing is blanked
    kept = [at for at in chain.heard() if np.min(np.abs(true - at)) < 20.0]
    assert len(kept) == len(true)


def test_the_table_is_written_read_back_and_used(tmp_path: Path) -> None:
    lift = EXAMPLES / "roof" / "roof.toml"
    target = tmp_path / "roof.rates.toml"
    done = CliRunner().invoke(
        cli, ["signal", str(lift), "--moves", "2", "--condition", "worn", "--rates", str(target), "--quiet"], catch_exceptions=False
    )

    assert done.exit_code == 0, done.output
    table = tomllib.loads(target.read_text())
    assert table["kind"] == "rates"
    assert sum(table["coasting"]["missed"]) > 0.0
    assert sum(table["coasting"]["commutations"]) > 300
    path = written(tmp_path, target.name)
    rig = build_rig(load_scenario(path))
    detector = rig["world"][0]["legs"][1]["detector"]
    assert int(detector["rated"]) == 1
    assert float(detector["rate_miss"][0]) == table["coasting"]["missed"][0] > float(detector["rate_miss"][11])


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (None, "no such file"),
        ('kind = "lift"', "this is a lift file"),
        ('kind = "rates"\nspeed_rpm = [3.0, 2.0]', "speed_rpm"),
    ],
)
def test_a_table_that_is_no_table_is_told_with_file_and_key(tmp_path: Path, text: str | None, message: str) -> None:
    if text is not None:
        (tmp_path / "rates.toml").write_text(text)
    written(tmp_path, "rates.toml")
    with pytest.raises(InputError) as error:
        load_lift(tmp_path / "lift.toml")

    assert message in str(error.value)
    assert "rates" in str(error.value)


def test_chances_beside_a_table_are_refused(tmp_path: Path) -> None:
    written(tmp_path, "rates.toml")
    lift = tmp_path / "lift.toml"
    bench = load_lift(EXAMPLES / "worktop" / "worktop.toml")
    flown = Flown("up", bench.leg[0], bench_move(bench, "left", 1))
    rates = find_rates([flown], "new", "spikes", setting_of(bench.leg[0], flown.bench), range(1))
    (tmp_path / "rates.toml").write_text(rates_text(rates))

    assert load_lift(lift).leg[0].detector.rates is not None
    lift.write_text(lift.read_text().replace('rates = "rates.toml"', 'rates = "rates.toml"\nrun_miss = 0.1'))
    with pytest.raises(InputError, match="leave it out"):
        load_lift(lift)
