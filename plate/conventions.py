"""Axes, signs, component order and units, stated once.

Axes
    x along the deck (station), y across (offset, positive to the right), z down.
Deflection and slope
    w positive down [m]; theta = (theta_x, theta_y) is the slope vector of the normal, equal to
    grad w in the thin limit. Transverse shear strain gamma = grad w - theta.
Curvature
    kappa = (theta_x,x, theta_y,y, theta_x,y + theta_y,x) [1/m].
Moments [N m/m]
    m = -D kappa, sagging positive. m_x is carried by bars that run along x;
    m_x = -D (w,xx + nu w,yy), m_xy = -D (1 - nu) w,xy for an isotropic thin plate.
Shears [N/m]
    q = kappa_s G t gamma, q_x = m_x,x + m_xy,y and q_y = m_xy,x + m_y,y.
    Load p down: q_x,x + q_y,y = -p.
Reactions
    positive upward on the slab [N].
Units
    SI throughout `plate`.
"""

MOMENTS = ("m_x", "m_y", "m_xy")
COMPONENTS = ("m_x", "m_y", "m_xy", "q_x", "q_y")
RESULTS = ("w", *COMPONENTS)

# Degrees of freedom of a node, in this order.
FIELDS = ("w", "theta_x", "theta_y")
N_FIELDS = len(FIELDS)

# Shear correction factor of a homogeneous rectangular section (Reissner 1945).
SHEAR_FACTOR = 5.0 / 6.0
