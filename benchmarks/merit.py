"""Time to a trusted worst face: paths where the minimum is decided against photons alone.

The figure of merit is 1 / (d^2 x seconds), with d the relative distance of the lower bound of the
worst face-side from what it gets: of the run with backward paths, of photons alone, and of photons
alone at the speed of Mitsuba's loop (same estimator, so only its photons per second count).
"""

FEW, MANY = 400_000, 40_000_000


def merit(quick: bool, demo, peers: dict[str, float]) -> dict[str, float]:
    """Figures of merit on the demo, and their ratios."""
    import raysim

    scene = raysim.load_scene(demo)
    paths = raysim.simulate(scene, **({"photons": FEW, "precision": 0.5} if quick else {}))
    photons = raysim.simulate(scene, photons=FEW if quick else MANY)
    figures = {}
    for name, result in (("photons and paths", paths), ("photons alone", photons)):
        distance = result.cases["cautious"].precision
        figures[f"demo, {name}: bound below the worst face, %"] = 100.0 * distance
        figures[f"demo, {name}: s"] = result.seconds
        figures[f"demo, {name}: figure of merit, 1/s"] = 1.0 / (distance**2 * result.seconds)
    alone = figures["demo, photons alone: figure of merit, 1/s"]
    gain = figures["demo, photons and paths: figure of merit, 1/s"] / alone
    figures["demo, figure of merit: paths over photons alone"] = gain
    if "demo, photons: ratio" in peers:
        figures["demo, figure of merit: paths over Mitsuba's photons"] = (
            gain * peers["demo, photons: ratio"]
        )
    return figures
