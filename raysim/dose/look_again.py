"""The darkest spots of a thinned mesh, judged again on the original: thinning evens out folds."""

from dataclasses import replace

import numpy as np

from raysim.base.cases import CASES
from raysim.base.errors import Fault, SceneError
from raysim.base.fault_codes import Code
from raysim.dose.dose_run import DoseRun
from raysim.dose.judge import NAMED_ERRORS, site_spot
from raysim.dose.second_look import SecondLook
from raysim.estimate.discs import PATCH_AREA, lone_discs
from raysim.estimate.face_sides import Sites, upper_end
from raysim.estimate.refine import precise, refine
from raysim.estimate.refinement import DECIDED, Refinement, forward_only
from raysim.scene.build import BuiltScene, build_scene
from raysim.scene.check.touching import set_aside
from raysim.transport.kernel_scene import kernel_scene
from raysim.transport.options import RunOptions
from raysim.transport.paths import ROUND_BATCHES
from raysim.transport.poses import BackwardCycle

MOST_SPOTS = 16  # the darkest ones of each thinned object
MOST_FACES = 2_000  # face-sides of the original that are looked at, the nearest first
MOST_RAYS = 60_000_000


def look_again(
    run: DoseRun, options: RunOptions, precision: float, stride: tuple[int, ...]
) -> SecondLook | None:
    """Judge the darkest spots of thinned objects on their originals; None where none is thinned.

    Raises
    ------
    SceneError
        If the original cannot be built any more.
    """
    thin = {entry.name for entry in run.scene.written.object if entry.thin and entry.judged}
    if not thin:
        return None
    original = set_aside(_original(run.scene))
    sites, nearest = _sites_near(run, original, thin)
    arrays = [kernel_scene(pose.triangles) for pose in original.poses]
    back = BackwardCycle(
        original.poses,
        arrays,
        options.seed,
        options.threads,
        stride=stride,
        batches=ROUND_BATCHES,
    )
    nothing = np.zeros((len(CASES), len(sites.faces)))
    state = forward_only(nothing, nothing + np.inf, nothing)
    state.too_dark = np.array([run.requirement.week_irradiance])
    refine(
        back,
        sites,
        state,
        run.factors,
        precision=precision,
        progress=options.progress,
        most_rays=MOST_RAYS,
    )
    sure, spots, bounds = precise(state, precision), {}, {}
    for case in range(DECIDED):
        light = (state.mean[case], state.error[case], state.bound[case])
        bounds[CASES[case]] = float(state.bound[case].min())
        spots[CASES[case]] = {
            name: replace(
                site_spot(original.triangles, sites, site, light),
                face=int(run.sites.faces[nearest[site]]),  # of the mesh that is shown
                lower_bound=float(state.bound[case][sites.bodies == sites.bodies[site]].min()),
            )
            for name, site in _worst_of_objects(original, sites, state, case, sure[case]).items()
        }
    return SecondLook(spots, bounds, len(sites.faces), state.rays)


def _original(scene: BuiltScene) -> BuiltScene:
    """The scene with its meshes as they are."""
    whole = [entry.model_copy(update={"thin": None}) for entry in scene.written.object]
    found = build_scene(scene.path, scene.written.model_copy(update={"object": whole}))
    if found.digests != scene.digests:
        what, mend = "a mesh has changed while the scene was traced", "begin anew"
        raise SceneError([Fault(Code.MESH_GONE, str(scene.name), "object.thin", what, mend)])
    return found


def _sites_near(run: DoseRun, original: BuiltScene, thin: set[str]) -> tuple[Sites, np.ndarray]:
    """Face-sides of the originals within 1 cm2 of the darkest of the thinned ones.

    Also the site of the thinned mesh that is nearest to each.
    """
    from scipy.spatial import cKDTree

    own, state, triangles = run.sites, run.state, run.scene.triangles
    nobody = np.zeros(len(own.faces), bool)
    taken = upper_end(state.mean[0], state.error[0], nobody, NAMED_ERRORS)
    names = np.array([body.name for body in triangles.bodies])[own.bodies]
    dark = []
    for name in thin:
        these = np.flatnonzero(names == name)
        dark.append(these[np.argsort(taken[these], kind="stable")[:MOST_SPOTS]])
    spots = np.sort(np.concatenate(dark))
    there = original.triangles
    faces, sides = np.nonzero(there.judged)
    bodies = there.face_body[faces]
    thinned = np.isin(np.array([body.name for body in there.bodies])[bodies], list(thin))
    faces, sides, bodies = faces[thinned], sides[thinned], bodies[thinned]
    apart, which = np.full(len(faces), np.inf), np.zeros(len(faces), np.int64)
    for side in (0, 1):
        some, about = np.flatnonzero(sides == side), spots[own.sides[spots] == side]
        if len(some) and len(about):
            tree = cKDTree(triangles.centroids[own.faces[about]])
            apart[some], at = tree.query(there.centroids[faces[some]])
            which[some] = about[at]
    near = np.argsort(apart, kind="stable")[:MOST_FACES]
    near = np.sort(near[apart[near] <= np.sqrt(PATCH_AREA / np.pi)])
    areas = there.areas[faces[near]]
    sites = Sites(faces[near], sides[near], areas, bodies[near], lone_discs(areas))
    return sites, which[near]


def _worst_of_objects(
    original: BuiltScene, sites: Sites, state: Refinement, case: int, sure: np.ndarray
) -> dict[str, int]:
    """The site of each object that gets least, noise not taken for darkness."""
    taken = upper_end(state.mean[case], state.error[case], sure, NAMED_ERRORS)
    taken = np.where(state.rounds > 0, taken, np.inf)
    found = {}
    for body in np.unique(sites.bodies).tolist():
        own = np.flatnonzero(sites.bodies == body)
        found[original.triangles.bodies[body].name] = int(own[taken[own].argmin()])
    return found
