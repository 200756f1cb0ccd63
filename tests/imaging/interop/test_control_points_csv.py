import pytest

from imaging.interop.control_points_csv import ControlPointRow, export_control_points, import_control_points
from imaging.map_errors import ControlPointTableError

HEADER = "label,frame_x_mm,frame_y_mm,image_x_px,image_y_px,kind\n"


def test_a_table_reads_back_exactly():
    rows = [
        ControlPointRow('nail, "left"', (0.1, 1 / 3), (10.5, 20.25)),
        ControlPointRow("nail 2", (-4.0, 5e-7), (1e5, 0.5), True, {"remark": "rusty"}),
    ]
    again = import_control_points(export_control_points(rows))
    assert [(row.label, row.frame_mm, row.image_px, row.is_check) for row in again] == [
        (row.label, row.frame_mm, row.image_px, row.is_check) for row in rows
    ]
    assert again[1].others == {"remark": "rusty"}


def test_labels_and_kinds_may_be_absent_and_columns_stand_in_any_order():
    (row,) = import_control_points("\ufeffimage_y_px,image_x_px,frame_y_mm,frame_x_mm\r\n4,3,2,1\r\n")
    assert row == ControlPointRow("P1", (1.0, 2.0), (3.0, 4.0))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("frame_x_mm,frame_y_mm,image_x_px\n", "Line 1 .* column 'image_y_px', is missing"),
        ("", "Line 1 .* column 'frame_x_mm', is missing"),
        (HEADER + "a,1,2,3,4,control\nb,1,x,3,4,control\n", "Line 3 .* column 'frame_y_mm', is 'x'"),
        (HEADER + 'a,1,2,"3,5",4,control\n', "Line 2 .* 'image_x_px', is '3,5'; needed is a number with a decimal"),
        (HEADER + "a,1,2,nan,4,control\n", "Line 2 .* 'image_x_px', is nan; needed is a finite number"),
        (HEADER + "a,1,2,3,,control\n", "Line 2 .* 'image_y_px', is empty"),
        (HEADER + "a,1,2,3,4,maybe\n", "'kind', is 'maybe'; needed is control or check"),
        (HEADER + "a,1,2,3,4,control,9\n", "Line 2 .* followed by further values"),
        (HEADER + "a,1,2,3,4,check\na,5,6,7,8,check\n", "Line 3 .* 'label', is 'a', as in row 1"),
        (HEADER + 'a,1,2,3,"4\n', "whole line"),
    ],
)
def test_a_wrong_table_names_line_and_column(text, message):
    with pytest.raises(ControlPointTableError, match=message):
        import_control_points(text)
