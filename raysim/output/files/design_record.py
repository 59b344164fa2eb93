"""The study of designs as plain data, for its result.json."""

from typing import Any

from raysim.base.figures import finite_or_none
from raysim.base.units import to_mm
from raysim.output.files.records import scene_record, study_head
from raysim.output.words.cautions import CAUTIONS
from raysim.output.words.design import roles
from raysim.output.words.verdict import verdict_record
from raysim.scene.file.read import file_hash
from raysim.studies.design.proposals import WALLS, Proposal
from raysim.studies.design.result import Design, DesignStudy, Relaxation
from raysim.studies.design.trial import Trial

FOLDER = "designs"  # of the scene files, with their meshes


def file_names(study: DesignStudy) -> dict[str, Design]:
    """Every design that gets a scene file, by the name of the file: the three, then the others."""
    named = {f"{role}.toml": design for role, design in roles(study).items()}
    own = {id(design) for design in named.values()}
    others = [design for design in study.designs if id(design) not in own]
    return named | {f"{one.name.replace(' ', '_')}.toml": one for one in others}


def design_record(study: DesignStudy, said: str) -> dict[str, Any]:
    """The study, and what it `said`, as plain data for result.json."""
    about = scene_record(study.wish.title, file_hash((study.path,)), study.path.as_posix())
    files = {id(design): name for name, design in reversed(file_names(study).items())}
    return {
        **study_head("design", about, study.seed, said),
        "currency": study.wish.currency,
        "interrupted": study.interrupted,
        "roles": {role: design.name for role, design in roles(study).items()},
        "front": [design.name for design in study.front],
        "designs": [
            _design(study, one) | {"file": f"{FOLDER}/{files[id(one)]}"} for one in study.designs
        ],
        "relaxations": [_relaxation(one) for one in study.relaxations],
        "proposals": study.proposals,
        "hopeless": study.hopeless,
        "geometries": study.geometries,
        "short_traces": [_trial(one) for one in study.trials],
        "cautions": list(CAUTIONS),
    }


def _design(study: DesignStudy, one: Design) -> dict[str, Any]:
    return {
        "name": one.name,
        **_proposal(one.proposal),
        "outside_mm": [
            round(float(to_mm(side)), 3)
            for side in one.proposal.box.outside(study.wish.sheet[one.proposal.sheet].thickness)
        ],
        "sha256": one.result.sha256,
        "calculated_s": finite_or_none(one.time),
        "calculated_s_each": finite_or_none(one.each),
        "cycles": one.cycles,
        "misses": [str(limit) for limit in one.broken],
        "verdict": verdict_record(one.result) if one.result.verdict else None,
    }


def _proposal(one: Proposal) -> dict[str, Any]:
    return {
        "cost": one.cost,
        "inside_mm": [round(float(to_mm(side)), 3) for side in one.box.inside],
        "lamp": one.lamps.kind.name,
        "lamps": len(one.lamps.arcs),
        "linings": dict(zip(WALLS, one.linings, strict=True)),
    }


def _relaxation(one: Relaxation) -> dict[str, Any]:
    return {"limits": [*map(str, one.limits)], "design": one.design.name, "factor": one.factor}


def _trial(one: Trial) -> dict[str, Any]:
    return {**_proposal(one.proposal), "worst_W_m2": one.worst, "best_over_worst": one.spread}
