"""Time to a trusted worst face: paths where the minimum is decided against other ways to it.

The figure of merit is 1 / (d^2 x seconds), with d the relative distance of the lower bound of the
worst face-side from what it gets: of the run with backward paths, of photons alone, of photons
alone at the speed of Mitsuba's loop (same estimator, so only its photons per second count), and of
Mitsuba's own path integrator from all judged face-sides alike.
"""

FEW, MANY = 400_000, 40_000_000
# Paths of Mitsuba in each of the 32 batches of a face-side: some half minute for 50,000 face-sides.
PEER_PATHS = 16


def figure(distance: float, seconds: float) -> float:
    """Figure of merit, 1/s (definition)."""
    return 1.0 / (distance**2 * seconds)


def merit(quick: bool, scenes: dict[str, str], peers: dict[str, float]) -> dict[str, float]:
    """Figures of merit of each scene, and their ratios; `peers` as `peers.photons` gives them."""
    import raysim

    figures = {}
    for name, path in scenes.items():
        scene = raysim.load_scene(path)
        paths = raysim.simulate(scene, **({"photons": FEW, "precision": 0.5} if quick else {}))
        photons = raysim.simulate(scene, photons=FEW if quick else MANY)
        for way, result in (("photons and paths", paths), ("photons alone", photons)):
            distance = max(result.cases[case].precision for case in ("cautious", "expected"))
            figures |= rows(f"{name}, {way}", distance, result.seconds)
        figures |= spots(quick, name, scene, paths, photons)
        ours = figures[f"{name}, photons and paths: figure of merit, 1/s"]
        for way in ("photons alone", "Mitsuba's paths"):
            if f"{name}, {way}: s" in figures:
                gain = ours / figures[f"{name}, {way}: figure of merit, 1/s"]
                figures[f"{name}, figure of merit: ours over {way}"] = gain
        if f"{name}, photons: ratio" in peers:
            figures[f"{name}, figure of merit: ours over Mitsuba's photons"] = (
                figures[f"{name}, figure of merit: ours over photons alone"]
                * peers[f"{name}, photons: ratio"]
            )
    return figures


def rows(name: str, distance: float, seconds: float) -> dict[str, float]:
    """What is told of one way to the worst face."""
    return {
        f"{name}: bound below the worst face, %": 100.0 * distance,
        f"{name}: s": seconds,
        f"{name}: figure of merit, 1/s": figure(distance, seconds),
    }


def spots(quick: bool, name: str, scene, ours, photons) -> dict[str, float]:
    """The same by Mitsuba's path integrator; expected case.

    Its mean over the load is held against that of photons alone, which 40 million know to 0.1 %
    (400,000 to 1 %, by the scatter over seven seeds), and Mitsuba to 0.15 %.
    """
    from raysim.estimate.face_sides import judged_sites

    try:
        from mitsuba_spots import QUANTILE, search

        sites = judged_sites(scene.triangles)
        mean, error, seconds = search(
            scene.triangles, sites.faces, sites.sides, 1 if quick else PEER_PATHS
        )
    except (ImportError, ValueError) as reason:
        print(f"{name}: no paths of Mitsuba: {reason}")
        return {}
    average = (mean * sites.areas).sum() / sites.areas.sum()
    level = photons.cases["expected"].summary.mean
    assert abs(average / level - 1.0) < (0.05 if quick else 0.008), (average, level)
    worst = ours.cases["expected"].worst.irradiance
    distance = 1.0 - float((mean - QUANTILE * error).min()) / worst
    return rows(f"{name}, Mitsuba's paths", distance, seconds)
