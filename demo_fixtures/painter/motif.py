"""The known places of the demonstration painting, in frame millimetres."""

__all__ = [
    "BLANCHING_MM",
    "CANDLESTICK_MM",
    "CRACK_A2_MM",
    "CRACK_A2_WIDTH_MM",
    "CUPPING_MM",
    "DRAWN_HANDLE_X_MM",
    "FIRST_LIP_MM",
    "HANDLE_Y_MM",
    "HEIGHT_MM",
    "JOIN_MM",
    "LOSSES_MM",
    "MARGIN_MM",
    "OVERPAINT_MM",
    "PAINTED_HANDLE_X_MM",
    "REGISTRATION_CROSSES_MM",
    "TABLE_EDGE_MM",
    "TEST_WINDOW_MM",
    "WIDTH_MM",
    "exit_holes_mm",
]

WIDTH_MM, HEIGHT_MM = 640.0, 480.0
# Bare wood around the painted surface, up to the panel's own edge.
MARGIN_MM = 8.0
JOIN_MM = ((0.0, 262.0), (640.0, 263.2))
CRACK_A2_MM = ((118.0, 260.4), (131.5, 259.8), (149.2, 261.7), (172.0, 260.9))
CRACK_A2_WIDTH_MM = 0.08
CUPPING_MM = ((300.0, 248.0), (338.0, 246.0), (344.0, 271.0), (305.0, 274.0))
LOSSES_MM = (
    ((96.0, 455.0), (104.0, 455.0), (104.0, 461.0), (96.0, 461.0)),
    ((231.0, 466.0), (236.0, 466.0), (236.0, 470.0), (231.0, 470.0)),
    ((402.0, 458.0), (414.0, 458.0), (408.0, 468.0)),
)
OVERPAINT_MM = ((402.0, 190.0), (448.0, 186.0), (455.0, 229.0), (409.0, 236.0))
TABLE_EDGE_MM = ((36.5, 352.2), (603.8, 349.0))
HANDLE_Y_MM, DRAWN_HANDLE_X_MM, PAINTED_HANDLE_X_MM = 151.0, 214.3, 221.8
CANDLESTICK_MM = ((486.0, 92.0), (512.0, 92.0), (516.0, 214.0), (482.0, 214.0))
FIRST_LIP_MM = ((176.0, 118.5), (190.0, 116.0), (205.0, 117.0))
BLANCHING_MM = ((60.0, 300.0), (150.0, 296.0), (158.0, 338.0), (66.0, 345.0))
TEST_WINDOW_MM = ((420.0, 200.0), (430.0, 210.0))
# Small crosses of lead-white card on black card, stuck on the bare margin for the whole project.
REGISTRATION_CROSSES_MM = (
    (40.0, -4.2),
    (320.0, -4.2),
    (600.0, -4.2),
    (-4.2, 120.0),
    (644.2, 120.0),
    (-4.2, 360.0),
    (644.2, 360.0),
    (40.0, 484.2),
    (320.0, 484.2),
    (600.0, 484.2),
)
_EXIT_HOLES_MM = (
    (62.4, 296.1, 1.4),
    (143.7, 331.5, 1.6),
    (201.2, 289.9, 1.3),
    (263.8, 372.0, 1.5),
    (281.3, 333.6, 1.7),
    (310.9, 428.8, 1.2),
    (371.5, 441.3, 1.6),
    (396.0, 318.2, 1.4),
    (437.6, 371.4, 1.8),
    (500.8, 346.9, 1.5),
    (523.4, 361.0, 1.3),
    (552.7, 446.6, 1.4),
    (589.5, 399.2, 1.6),
    (614.9, 404.4, 1.7),
)


def exit_holes_mm() -> tuple[tuple[float, float, float], ...]:
    """Return centre and diameter of the fourteen exit holes of the lower board."""
    return _EXIT_HOLES_MM
