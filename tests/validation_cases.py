"""What each check of VALIDATION.md compares, and with what outside the project."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Case:
    """One row: tests whose node id begins with one of `tests`, relative to tests/."""

    title: str
    source: str
    tests: tuple[str, ...]


CASES = (
    Case(
        "Random numbers: known answers of Philox 4x32-10",
        "Salmon et al. 2011, Random123 known-answer file (from memory)",
        ("kernels/test_random_numbers.py",),
    ),
    Case(
        "Samplers: chi-square of cosine lobe, triangle, cylinder, seen cylinder",
        "densities integrated over the bins (method of exact densities)",
        ("kernels/test_sampling.py", "kernels/test_emission.py"),
    ),
    Case(
        "Directions after reflection and transmission, in tilted frames",
        "Lambert's law, law of reflection",
        ("kernels/test_scattering.py",),
    ),
    Case(
        "Fresnel reflectance of 18 materials at 0, 45, 75 degrees and its mean",
        "n, k of the papers named in the test, by refractiveindex.info; Fresnel's equations",
        ("kernels/test_surfaces.py",),
    ),
    Case(
        "Rays: brute force, Embree, none lost through edges and corners of closed meshes",
        "Moeller and Trumbore 1997; Woop, Benthin, Wald 2013; Embree",
        ("kernels/test_intersect.py", "kernels/test_watertight.py"),
    ),
    Case(
        "Closest hits in all demo scenes, rays aimed at shared edges and corners",
        "Embree through embreex",
        ("peers/test_embree.py",),
    ),
    Case(
        "Polygons of random shape in OBJ and PLY files keep their area and outline",
        "shoelace formula",
        ("scene/test_polygons.py",),
    ),
    Case(
        "Closed forms themselves, by plain quadrature",
        "definition of the view factor; Incropera ch. 13",
        ("physics/test_closed_forms.py",),
    ),
    Case(
        "View factors: cube, rectangles, discs, sphere, tube",
        "Howell, Catalog of Configuration Factors; Incropera (from memory)",
        ("physics/test_view_factors.py",),
    ),
    Case(
        "Tube in the open: beside, along, near, far; twin tubes shade each other",
        "finite cylinder; Keitz 1971; Hottel's crossed strings",
        ("physics/test_tube.py",),
    ),
    Case(
        "Closed sphere and box: mean wall irradiance P / (A (1 - rho)), even reflected light",
        "integrating-sphere theory, Jacquez and Kuppenheim 1955",
        ("physics/test_sphere.py",),
    ),
    Case(
        "One wall: image of the lamp in a metal, in glass; diffuser; mixture of both",
        "image method; Lambert's law; Fresnel's equations",
        ("physics/test_one_wall.py",),
    ),
    Case(
        "Diffuse box with six unlike walls",
        "radiosity, linear solve with exact view factors: Gebhart 1971; Incropera ch. 13",
        ("physics/test_radiosity_box.py",),
    ),
    Case(
        "Parallel mirrors, box of six unlike mirrors, box of metal and glass",
        "sum over image sources (geometrical optics)",
        ("physics/test_mirror_box.py",),
    ),
    Case(
        "Long mirror channel between diffuse ends",
        "specular exchange factors, Siegel and Howell",
        ("physics/test_channel.py",),
    ),
    Case(
        "Furnace of a thousand bounces, black room, every photon accounted for",
        "conservation of energy",
        ("physics/test_energy.py",),
    ),
    Case(
        "Photons against backward paths, by material, face, lamp and case",
        "Helmholtz reciprocity",
        ("physics/test_reciprocity.py", "physics/test_cases.py", "kernels/test_backward.py"),
    ),
    Case(
        "Lamp and receiver swapped in a furnished box",
        "Helmholtz reciprocity",
        ("physics/test_swap.py",),
    ),
    Case(
        "Whole demo geometry with every kind of surface: objects, face-sides, materials",
        "photon loop on rays of Mitsuba 3",
        ("peers/test_mitsuba.py",),
    ),
    Case(
        "Darkest face-sides of the demo; effect of a metal lobe on them",
        "backward paths on rays of Mitsuba 3",
        ("peers/test_darkest_faces.py",),
    ),
    Case(
        "Loaded box with six respirators and openings; lining that lights all round",
        "flux balance for the box of Baluja et al. 2020; J. Res. NIST 126:126017 (2021)",
        ("physics/test_published_boxes.py",),
    ),
    Case(
        "Published measurements: data sheets, inverse square, cabinet floor, reflective paint",
        "as named in each row",
        ("physics/test_published_experiments.py",),
    ),
    Case(
        "Standard errors and the bound on the worst of many, over seeds",
        "coverage; exact binomial and Student limits",
        ("estimate/test_coverage.py",),
    ),
    Case(
        "Bounds of counts and of batch means",
        "Garwood 1936; Student 1908; Berger 1982",
        ("estimate/test_bounds.py",),
    ),
    Case(
        "Exposure time: published examples, warm-up, safety factor",
        "worked examples named in the test",
        ("dose/test_exposure.py", "dose/test_worked_numbers.py"),
    ),
    Case(
        "Heads of meters without cosine correction: a lamp at an angle, light from all sides",
        "Lambertian tube (Keitz); integrating sphere; Fresnel's plate",
        ("physics/test_meter_response.py",),
    ),
    Case(
        "Uncertainty budget: derivatives of places and refractive indices",
        "closed forms of a tube and of a glass ceiling; runs of their own",
        ("physics/test_paired_runs.py",),
    ),
    Case(
        "Stray light of slits and labyrinths, down to 1e-7 of the lamp's power",
        "view factor of a slit; Hottel's strings; the gap as a mesh; photons one by one",
        ("physics/test_leak.py", "studies/test_passage.py"),
    ),
    Case(
        "Lamp table and surface library, row by row; watts against irradiance at 1 m",
        "fact sheet with the sources of each row; Keitz 1971",
        ("library/test_library.py", "library/test_library_rows.py", "dose/test_lamp_output.py"),
    ),
    Case(
        "Planted errors of 0.5 to 3 %: found by the comparisons above",
        "our own",
        ("physics/test_planted.py",),
    ),
    Case(
        "Faults, kills and odd files: told in lines, results whole; counts are below",
        "our own; method after the tests of SQLite for faults, crashes and fuzz (from memory)",
        (
            "broken/test_defence.py",
            "broken/test_injected_faults.py",
            "broken/test_random_kills.py",
            "broken/test_fuzz.py",
        ),
    ),
)

NOT_DONE = (
    ("Old lamp maker's table of distance factors", "the lamp it belongs to is not known"),
    (
        "Near-field duct study (Li et al. 2024)",
        "its tables of distance and irradiance are not in hand",
    ),
    (
        "Six-mask box (Baluja et al. 2020), measured irradiances",
        "wall material, tube positions and all readings are not in hand; only its size is used above",
    ),
    (
        "Hospital unit (Kohli et al. 2020)",
        "number and spacing of tubes and the table of readings are not in hand",
    ),
    (
        "Polished tunnel (Mills 2018)",
        "UVC watts, reflectance and plane of the masks are not in hand",
    ),
    ("Felt-lined test chamber (Lindsley 2015)", "irradiances and times are not in hand"),
    (
        "Lining comparison (NIST 2021), doses",
        "dimensions, power and beam of the LED are not in hand; only the order of linings is checked",
    ),
    (
        "Diffuse cylinder with an amalgam lamp (Kotov 2022)",
        "radius, reflectance and gain curve are not in hand",
    ),
    (
        "Spherical box (Trivellin 2021)",
        "power of the LEDs and reflectance of the coating are not in hand",
    ),
    ("Maps of the dose on a mask (Su 2020, Geldert 2021)", "their maps are not in hand"),
    (
        "Cabinet floor, as a test of absolute numbers",
        "size and place of the tube were assumed; shape only",
    ),
)
