"""The mechanics in formulas: plate, element, beams, supports, loads; and the stated errors."""

from math import log10

from pipelines.accuracy.best_arrangements import GOAL
from pipelines.accuracy.best_arrangements import SMALL as LEAST
from pipelines.accuracy.mesh_parts import SAFETY
from pipelines.accuracy.proven_place import GOAL as PLACE_GOAL
from pipelines.accuracy.refinement import HIGHEST_ORDER, ROUNDS, SMALL
from pipelines.bars.cracked import SECANT, SETTLED
from pipelines.model.build import (
    GRID_SHARE,
    MOST_CELLS,
    ORDER,
    PATCH_SHARE,
    REFINEMENT,
    SPAN_SHARE,
)
from pipelines.report.sections.theory.formulas import Chapter, Item
from pipelines.standards.actions.load_models import joint_factor
from plate.conventions import SHEAR_FACTOR
from plate.elements.beam import TIE, TIE_TO_WEB
from plate.elements.section import THIN


def mechanics() -> Chapter:
    """Plate theory, elements, beams, supports, loads, envelopes."""
    return Chapter("mechanics", "Mechanics", (*_plate(), *_beams(), *_loads()))


def _plate() -> tuple[Item, ...]:
    return (
        Item(
            title="Axes and signs",
            words="x along the deck, y across it, positive to the right, z down; w positive down. "
            "θ is the slope of the slab's normal. Moments per metre are positive in sagging; m_x "
            "is carried by bars along x. Loads act down, reactions up.",
            formulas=(
                "γ = grad w − θ",
                "κ = (θ_{x,x}, θ_{y,y}, θ_{x,y} + θ_{y,x})",
                "q_{x,x} + q_{y,y} = −p",
            ),
        ),
        Item(
            title="Plate with shear deformation",
            words="Theory of Mindlin and Reissner, the default. Factors on stiffness multiply D_x, "
            "D_y and D_xy; D_1 takes the geometric mean of the first two. Shear keeps the rigidity "
            "of the uncracked slab. In zones of another thickness D grows with t^3 about the same "
            "mid-plane.",
            formulas=(
                "m_x = −(D_x θ_{x,x} + D_1 θ_{y,y})",
                "m_y = −(D_y θ_{y,y} + D_1 θ_{x,x})",
                "m_xy = −D_xy (θ_{x,y} + θ_{y,x})",
                "D_x = D_y = D = E t^3 / (12 (1 − ν^2)), D_1 = ν D, D_xy = (1 − ν) D / 2",
                f"q = κ_s G t γ, κ_s = {SHEAR_FACTOR:.4g}, G = E / (2 (1 + ν))",
            ),
            source="Reissner 1945, Mindlin 1951 (from memory)",
        ),
        Item(
            title="Thin plate",
            words="Kirchhoff's theory is the same element with the shear rigidity of a plate that "
            f"is {THIN:g} of the shortest span thick; its shears come from the divergence of the "
            "moments.",
            formulas=(
                "θ = grad w, m_x = −D (w_{,xx} + ν w_{,yy}), m_xy = −D (1 − ν) w_{,xy}",
                "q_x = m_{x,x} + m_{xy,y}, q_y = m_{xy,x} + m_{y,y}",
            ),
            source="Timoshenko and Woinowsky-Krieger, Theory of plates and shells (from memory)",
        ),
        Item(
            title="Element",
            words=f"Quadrilaterals of order p, {ORDER} by default, with w and both slopes at "
            "Gauss-Lobatto nodes. The shear strains along the element's own axes are taken at p "
            "Gauss points one way and p + 1 Gauss-Lobatto points the other way and interpolated "
            "from there, so that thin plates do not lock. Cells are at most "
            f"{PATCH_SHARE:g} of the smallest wheel patch's side ({GRID_SHARE:g} on a grid) or "
            f"{SPAN_SHARE:g} of the shortest span while there are fewer than {MOST_CELLS} of them, "
            "with a first row of half a thickness along edges, soft lines and beams; on a grid a "
            "mesh line runs a thickness off edges, supports and beams, where shears are read "
            "first.",
            formulas=("γ_ξ = w_{,ξ} − θ · x_{,ξ}",),
            source="Bathe and Dvorkin 1985; Bathe, Brezzi and Fortin 1989 (from memory)",
        ),
        Item(
            title="Solution",
            words="Sparse Cholesky factorisation by nested dissection, once; every load position "
            "is a right-hand side of its own. Each solution is checked for equilibrium.",
            formulas=("K u = f",),
            source="George 1973; Duff and Reid 1983 (from memory)",
        ),
        Item(
            title="Singular places",
            words="Around a corner, or where a rigid line or a beam ends or meets others, "
            "deflections go with r^{λ}. Below λ = 2 moments are infinite there: such places are "
            "named, and no value within a thickness of them is read as a peak.",
            formulas=("m ~ r^{λ − 2}",),
            source="Williams 1952 (from memory)",
        ),
    )


def _beams() -> tuple[Item, ...]:
    return (
        Item(
            title="Beams along lines",
            words="A beam shares w and both slopes with the slab along s, and w_{,s} is tied to "
            "the slope of the slab's normal. With a shear area it has a bending rotation ψ of its "
            "own. The tie is a shear rigidity that strains next to nothing: at most "
            f"{TIE_TO_WEB:g} times that of the web. The shear told is that of web and tie.",
            formulas=(
                "M = −E I θ_{s,s} (without shear area)",
                "M = −E I ψ_{,s}, V = G A_v (w_{,s} − ψ)",
                "T = G J θ_{n,s}",
                f"K_{{tie}} = min(10^{log10(TIE):g} E I / l^2, {TIE_TO_WEB:g} G A_v)",
            ),
            source="Timoshenko's beam (from memory); tie: own, by comparison with series",
        ),
        Item(
            title="Beams below or above the slab",
            words="With a connection the slab also has displacements u in its plane; the beam's "
            "centroid lies e below the mid-plane. A full connection has no slip; one of stiffness "
            "k carries what slips between the slab's face and the beam's.",
            formulas=(
                "u(z) = u − z θ, N = E A u_{beam,s}",
                "n = k (u_{beam} − u_{slab}) along the interface",
            ),
        ),
        Item(
            title="Supports",
            words="Rigid: w = 0, if hard also no rotation along the line. Clamped: w and both "
            "rotations. Spring: k per metre of line. Beam: where it is held. A point support "
            "holds the mean of w over its square. Where a support lifts, the governing positions "
            "are solved again without tension.",
            formulas=("r = k w", "r >= 0, w <= 0, r w = 0 where supports lift"),
        ),
    )


def _loads() -> tuple[Item, ...]:
    at_joint = joint_factor(0.0)
    return (
        Item(
            title="Wheel patches",
            words="A wheel of contact a by b spreads at the angle δ through the surfacing s and, "
            "if asked for, to the mid-depth of the slab t. Its load is integrated exactly over "
            "what of the patch lies in each element; what is beside the slab does not act.",
            formulas=(
                "a' = a + 2 s tan δ + t tan δ",
                "p = P / (a' b')",
            ),
            source="dispersal at 45 degrees (common practice)",
        ),
        Item(
            title="Load positions",
            words="First axles stand at whole multiples of the step along the deck, the other "
            "axles at their exact distances behind; across the carriageway from kerb to kerb in "
            "equal steps. The envelope of each result is over all positions, both directions and "
            "the empty deck; with each extreme goes its position and what coexists with it.",
            formulas=("max >= 0 >= min",),
        ),
        Item(
            title="Load models",
            words="Lanes of a standard stand anywhere on the carriageway side by side, loaded or "
            "not; distributed loads act on their adverse parts, by the sign of the influence. "
            "Near expansion joints EN 1991-2 4.6.1(6) raises the results at a distance x up to "
            f"6 m, by {at_joint:.2f} at the joint.",
            formulas=(
                "R = Σ_{lanes} φ_{lane} (Σ P_i η_i + p ∫ η^{+} dA)",
                f"Δφ = max(1, {at_joint:.2f} (1 − x / 26))",
            ),
            source="EN 1991-2:2003, 4.6.1(6) (from memory); factors of each model: "
            "`deckslab vehicles`",
        ),
        Item(
            title="Temperature, shrinkage, settlement",
            words="An upper face warmer than the lower one by ΔT would bend the slab by κ_0; what "
            "holds it makes moments. A mean strain ε_0 of the slab against its beams, of warmth or "
            "shrinkage, acts through their connection. A rigid support takes its nodes down by s, "
            "under a yielding one of stiffness k the ground moves.",
            formulas=(
                "κ_0 = α ΔT / t, m = −D (κ − κ_0)",
                "n = C (ε − ε_0)",
                "R = k (w − s)",
            ),
        ),
        Item(
            title="Stages",
            words="With [stages] each static case is solved on the model of its stage, and results "
            "add up: E of the slab from the modular ratio n of the stage; fresh concrete on "
            "formwork over rigid lines, whose reactions load the beams without the slab.",
            formulas=("E_{slab} = E_{beam} / n",),
        ),
        Item(
            title="Cracked stiffness",
            words="Of a sum of static cases, if asked for: in every cell the secant of the layer "
            "in tension along x and along y, D_1 and D_xy by the geometric mean, r being the "
            "stiffness of the plain section over that of the cracked one; iterated until moments "
            f"change by less than {100 * SETTLED:g} % and no cell is further than "
            f"{100 * SECANT:g} % from its secant.",
            formulas=(
                "ζ = 1 − (m_{cr} / m)^2, m_{cr} = f_{ctm} h^2 / 6",
                "D_{cracked} / D = 1 / (1 − ζ + ζ r)",
            ),
            source="EN 1992-1-1 7.4.3 (3) (from memory)",
        ),
    )


def errors() -> Chapter:
    """What the stated errors are made of."""
    items = (
        Item(
            title="Stated error",
            words="Of every headline value: what the mesh and the choice of load positions may "
            "leave out. It is numerical alone; what the model leaves out stands among the "
            "assumptions.",
            formulas=("e = e_{mesh} + e_{step}",),
        ),
        Item(
            title="Mesh",
            words="The value v is computed again, as v_r, with elements one order higher and "
            f"{REFINEMENT:g} times smaller, and no wider than a mesh has that is not asked for, "
            "at the same place and for the same load. The factor "
            "covers a richer answer that is up to half as wrong. Two meshes may agree by chance: "
            "no moment or shear is told to be less wrong than the root mean square, over all "
            "angles of axes, of what the difference of the tensor at its place has for it; and "
            "the difference is asked under the governing load position of the steps, too. Shears "
            "beside the edges of wheels are wrong on both meshes: c and c_r are what their "
            "readings lack of the shears that the wheels make alone, by a logarithmic potential "
            "and the polynomial of a cell nearest to them (on grids of rectangles by Mindlin's "
            "theory, else 0). A governing shear is read at the edges of the wheels that come near "
            "to governing, as v + c, where that is more than the field has, and measured there. "
            "For a governing value the error covers "
            "the largest v_{near}, too, that the richer mesh has at and between points of its own "
            "around all places whose value is near it, under the loads that govern there and these "
            "moved along the deck by shares of a step.",
            formulas=(
                f"e_{{mesh}} >= |v_r + c_r − v| + {SAFETY - 1:g} |v_r + c_r − v − c|",
                f"e_{{mesh}} >= {SAFETY:g} (v_{{near}} − v) of governing values",
            ),
            source="own; measured on decks by `benchmarks/effectivity.py`",
        ),
        Item(
            title="Load positions between the steps",
            words="A stated value v is that under the worst traffic found anywhere, between the "
            "steps too. On a grid of rectangles on a straight deck it is "
            "proven: a result is a polynomial of degree p + 1 each way between the places at which "
            "a patch's edge passes a line of the mesh, and Bernstein coefficients bound it by "
            "v_{up}; v_{most} is the largest value of its kind. Lanes add up; e_{load} is "
            "what cells of distributed loads leave out that are adverse in part. "
            "On other cells of straight decks a single vehicle of fixed spacings is proven to "
            f"{PLACE_GOAL:g} by bounds of the second derivatives. "
            "Elsewhere the worst traffic is searched for, and e_{search} is what that may miss.",
            formulas=(
                "v <= v_{worst} <= v_{up}",
                "e_{step} = v_{up} − v, if proven",
                f"v_{{up}} − v <= {GOAL:g} max(v, {LEAST:g} v_{{most}}) + e_{{load}}",
                "e_{step} = e_{search}, if searched",
            ),
            source="Bernstein's form bounds its polynomial (from memory)",
        ),
        Item(
            title="The other theory",
            words="Beside the error stands what the other plate theory makes of the value on the "
            "same mesh: no error, but what the theory decides.",
        ),
        Item(
            title="Refining to a tolerance",
            words="If an error is asked for, the order is raised up to "
            f"{HIGHEST_ORDER}, then cells are made smaller, in at most {ROUNDS} rounds. Values "
            f"below {SMALL:g} of the deck's peak of their kind are held to the peak's error times "
            "that share.",
            formulas=(f"e <= ε max(|v|, {SMALL:g} v_{{peak}})",),
        ),
    )
    return Chapter("errors", "Stated errors", items)
