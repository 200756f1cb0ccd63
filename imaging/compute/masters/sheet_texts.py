"""The sentences of the ingest sheet by code: what was got and needed, and what to do."""

__all__ = ["SHEET_TEXTS"]

SHEET_TEXTS: dict[str, tuple[str, str]] = {
    # The message of an error is a sentence and holds its remedy.
    "refused": ("{message}", ""),
    "scale_fits": ("{um_per_px:.4g} µm a pixel, by the file and by what was given.", ""),
    "scale_given": ("{um_per_px:.4g} µm a pixel was given; the file says nothing.", ""),
    "scale_from_file": (
        "The file says {um_per_px:.4g} µm a pixel ({ppi:.0f} per inch); nothing was given.",
        "Confirm it, or measure the scale bar and give that.",
    ),
    "scale_missing": (
        "Neither the file nor the form says how many µm a pixel covers.",
        "Measure a scale bar in the picture, or give two points and their distance.",
    ),
    "scale_placeholder": (
        "The file says {ppi:.0f} pixels per inch, which programs write when they know nothing.",
        "Measure the scale bar and give µm a pixel.",
    ),
    "scale_differs": (
        "The file says {file_um:.4g} µm a pixel; {given_um:.4g} was given. They must agree within "
        "1 %, and differ by {percent:.1f} %.",
        "Measure the scale bar again, then keep the number that is right.",
    ),
    "scale_uneven": (
        "The file says {x_um:.4g} µm a pixel across and {y_um:.4g} down; they must agree within 1 %.",
        "Find out which is right, or whether the picture was stretched.",
    ),
    "size_fits": (
        "{width_mm:.1f} × {height_mm:.1f} mm by its pixels; the work is recorded as "
        "{work_width_mm:.1f} × {work_height_mm:.1f} mm.",
        "",
    ),
    "size_detail": (
        "A detail of {width_mm:.1f} × {height_mm:.1f} mm of {work_width_mm:.1f} × {work_height_mm:.1f} mm.",
        "",
    ),
    "size_smaller": (
        "{width_mm:.1f} × {height_mm:.1f} mm by its pixels, less than the work with "
        "{work_width_mm:.1f} × {work_height_mm:.1f} mm.",
        "Say that it is a detail, or correct µm a pixel or the size of the work.",
    ),
    "size_larger": (
        "{width_mm:.1f} × {height_mm:.1f} mm by its pixels, more than the work with "
        "{work_width_mm:.1f} × {work_height_mm:.1f} mm.",
        "Confirm that it shows a border round the work, or correct µm a pixel.",
    ),
    "size_turned": (
        "{width_mm:.1f} × {height_mm:.1f} mm by its pixels; the work is {work_width_mm:.1f} × "
        "{work_height_mm:.1f} mm, so the picture lies on its side.",
        "Say which edge is the top when it is laid into the frame.",
    ),
    "size_unknown": (
        "The size on the work cannot be compared: {missing} is missing.",
        "Give it, and the size is checked.",
    ),
    "depth_fits": ("{bits} bits a sample.", ""),
    "depth_8_bit": (
        "The file has 8 bits a sample; masters need 16.",
        "Export it again from the raw file, or bring it in as an access copy.",
    ),
    "depth_8_in_16": (
        "The file has 16 bits a sample but only {distinct} different values, {step} apart: an "
        "8-bit picture in a 16-bit file.",
        "Export it again from the raw file, before it was reduced to 8 bits.",
    ),
    "lossless": ("Compression: {compression}; nothing was lost by it.", ""),
    "lossy": (
        "The file was compressed by {compression}, which discards fine detail; masters are kept without loss.",
        "Bring in the TIFF it was made from, or keep it as an access copy.",
    ),
    "profile_fits": ("Colour profile: {name}.", ""),
    "profile_missing": (
        "The file has colour and no profile, so what its numbers look like is unknown.",
        "Export it again with its profile, or say which one it was made in.",
    ),
    "profile_wrong": (
        "The profile {name} is for {space}; the picture is {colour}.",
        "Export it again with a profile of its own kind.",
    ),
    "profile_not_needed": ("Grey values or bands; no colour profile is needed.", ""),
    "polarity_stated": ("Polarity as stated: {polarity}.", ""),
    "polarity_likely": (
        "The tail of light values is longer, as in a radiograph whose dense parts are white.",
        "Confirm that lead white and nails are light.",
    ),
    "polarity_doubt": (
        "The tail of dark values is {ratio:.1f} times the light one: dense parts seem to be black; "
        "on film they are white.",
        "Look at a nail: if it is dark, set the polarity to “black is dense”; the file stays as it is.",
    ),
    "polarity_contradiction": (
        "{polarity} was stated, but the values look the other way round.",
        "Look at a nail and correct the polarity if it is wrong.",
    ),
    "polarity_white_zero": (
        "The file states that 0 is white; it is shown and measured turned round.",
        "Look at a nail, then state the polarity.",
    ),
    "tones_fit": ("Tones reach from {low:.4g} to {high:.4g} without piling up at an end.", ""),
    "saturated": (
        "{percent:.2f} % of band {band} has the highest value, {value:.6g}: the light there is lost.",
        "Take it again with less exposure, or state that nothing is measured there.",
    ),
    "crushed": (
        "{percent:.1f} % of band {band} is 0: the dark there is lost.",
        "Export it again without clipping the dark.",
    ),
    "flat": (
        "99 % of the values lie between {low:.6g} and {high:.6g}: the picture is flat.",
        "Look whether it is the right file, or a dark or flat-field frame.",
    ),
    "orientation_fits": ("The file asks for no turning.", ""),
    "orientation_tag": (
        "The file asks to be {words} (orientation {orientation}); the pixels stay as they are and "
        "the map into the frame turns them.",
        "Check that the top of the work is at the top.",
    ),
    "bands_fit": ("Bands: {names}.", ""),
    "bands_nameless": (
        "The file has {bands} bands without names.",
        "Name them in the form, in their order.",
    ),
    "alpha": (
        "The last band is transparency, which masters do not need.",
        "It is left aside; export it again without it if that is wrong.",
    ),
    "one_picture": ("The file holds one picture.", ""),
    "more_pictures": (
        "The file holds {count} more pictures of its own; only the first is brought in.",
        "Save the others as files if they are wanted.",
    ),
    "checksum_new": ("SHA-256 {checksum}; not here before.", ""),
    "duplicate": (
        "The same bytes are here already as {name}.",
        "Open that image and withdraw one of the two, or say how they differ.",
    ),
    "name_fits": ("The name follows the usual pattern.", ""),
    "name_pattern": (
        "The name does not follow the usual pattern, lower case and number_modality_state_face_version.",
        "Nothing depends on it: rename it only if your house wants that.",
    ),
    "name_ending": (
        "The name ends in {ending}, the content is {format}.",
        "Nothing depends on it: it is read by its content.",
    ),
    "name_modality": (
        "The name says {named}, the form says {given}.",
        "Check which is right.",
    ),
}
