"""Tour 8: the parts you buy are not the parts you wrote down. How many builds of a design can still be tuned?

Two thousand builds of heron.toml are drawn at random within the tolerances of its parts, each is tuned as a person
would tune it, and the share that reaches zero beat is counted. The parts that matter most come first.
"""

from pathlib import Path

from models.builds.tolerance import linear_estimates, monte_carlo, share_of
from synth.analysis.tolerance import trial_of
from synth.build.workbench import open_design

BUILDS, SEED = 2000, 1


def main() -> None:
    """Print the share that tunes up and what the trimmer has to make up for."""
    trial = trial_of(open_design(Path(__file__).parent / "heron.toml"))
    builds = monte_carlo(trial, BUILDS, SEED)
    share, low, high = share_of(builds.reached)
    print(f"{BUILDS} builds: {100 * share:.1f} % reach zero beat (95 % interval {100 * low:.1f} to {100 * high:.1f} %)")
    estimate = next(found for found in linear_estimates(trial) if found.outcome == "trimmer_setting")
    print(f"trimmer setting {estimate.nominal:.2f} as written, sigma {estimate.sigma:.2f} over the builds")
    for sensitivity in estimate.sensitivities[:4]:
        print(f"  {sensitivity.part.label:<22} {100 * sensitivity.share:5.1f} % of the variance")


if __name__ == "__main__":
    main()
