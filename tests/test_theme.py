"""The look of the figures: contrast, color vision, styles and no side effects."""

from itertools import combinations

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure

from trialkit.report import theme

# Machado, Oliveira and Fernandes, "A physiologically-based model for simulation of color vision deficiency", IEEE
# Transactions on Visualization and Computer Graphics 15(6), 2009, severity 1.0; the digits are those that colorspacious
# 1.1.2 prints for cvd.machado_et_al_2009_matrix(name, 100).
VISION = {
    "normal": np.eye(3),
    "protan": [
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ],
    "deutan": [
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.01182, 0.04294, 0.968881],
    ],
    "tritan": [
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.3039],
    ],
}
# IEC 61966-2-1:1999, linear sRGB to XYZ (D65)
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
WHITE = TO_XYZ.sum(axis=1)


def lab(color, vision):
    """CIELAB of a color as the eye in question sees it (CIE 15:2004, section 8.2.1)."""
    channels = np.array([int(color[start : start + 2], 16) / 255 for start in (1, 3, 5)])
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    ratio = TO_XYZ @ np.clip(np.asarray(VISION[vision]) @ linear, 0, 1) / WHITE
    x, y, z = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


# other software, axe-core 4.14.1 in Chromium: axe.commons.color.getContrast(white, color)
@pytest.mark.parametrize(
    ("color", "contrast"),
    [
        ("#8a4b08", 6.7948),
        ("#005a9c", 7.1367),
        ("#3b3b3b", 11.2018),
        ("#d23c69", 4.5745),
        ("#874bff", 4.6869),
        ("#6b1000", 12.3582),
        ("#1d2328", 15.8695),
        ("#4c5660", 7.4804),
        ("#767676", 4.5422),
    ],
)
def test_contrast_is_that_of_other_software(color, contrast):
    assert theme.contrast_on_paper(color) == pytest.approx(contrast, abs=5e-5)


def test_contrast_of_black_is_the_largest_there_is():
    # W3C, Web Content Accessibility Guidelines 2.2 (2023), "contrast ratio": ranges from 1 to 21
    assert theme.contrast_on_paper("#000000") == pytest.approx(21, abs=1e-12)
    assert theme.contrast_on_paper("#ffffff") == pytest.approx(1, abs=1e-12)


@pytest.mark.parametrize("color", [*theme.COLORS, theme.INK, theme.QUIET_INK])
def test_colored_text_can_be_read_on_white(color):
    # W3C, Web Content Accessibility Guidelines 2.2 (2023), success criterion 1.4.3 Contrast (Minimum): 4.5:1
    assert theme.contrast_on_paper(color) >= 4.5


@pytest.mark.parametrize("vision", VISION)
def test_colors_differ_for_every_kind_of_color_vision(vision):
    colors = [lab(color, vision) for color in theme.COLORS]
    # a difference of 2.3 is just noticeable: Mahy, Van Eycken and Oosterlinck, Color Research and Application 19(2), 1994
    assert min(np.linalg.norm(a - b) for a, b in combinations(colors, 2)) > 15


def test_six_types_differ_in_color_marker_and_dash():
    styles = theme.edge_styles(["plain", "b", "c", "d", "e", "f"]).values()
    assert len({style.color for style in styles}) == 6
    assert len({style.marker for style in styles}) == 6
    assert len({str(style.dash) for style in styles}) == 6


def test_the_reference_comes_first_and_repeats_count_once():
    styles = theme.edge_styles(["plain", "carbide", "plain"])
    assert list(styles) == ["plain", "carbide"]
    assert styles["plain"].color == theme.COLORS[0]
    assert styles["plain"].dash == "-"


def test_many_types_never_look_alike():
    styles = theme.edge_styles([f"type {number}" for number in range(36)])
    assert len({(style.color, style.marker) for style in styles.values()}) == 36


def test_style_leaves_matplotlib_as_it_was():
    with mpl.rc_context({"font.size": 23.0, "axes.grid": True}):
        before = dict(mpl.rcParams)
        with theme.print_style():
            assert mpl.rcParams["font.size"] == theme.BODY_PT
            assert mpl.rcParams["axes.grid"] is False
        assert dict(mpl.rcParams) == before


def test_style_comes_back_after_an_error():
    before = dict(mpl.rcParams)
    with pytest.raises(ZeroDivisionError), theme.print_style():
        1 / 0  # noqa: B018
    assert dict(mpl.rcParams) == before


def drawing(words="$x$ & <b>"):
    with theme.print_style():
        figure = Figure(figsize=(2, 1))
        ax = figure.add_subplot()
        ax.plot([0, 1], [1, 2])
        ax.set_title(words)
    return figure


def test_svg_is_the_same_twice_holds_paths_and_no_date():
    first, second = theme.svg_text(drawing()), theme.svg_text(drawing())
    assert first == second
    assert first.startswith("<svg")
    assert "<text" not in first
    assert "date" not in first.lower().replace("metadata", "")


def test_png_is_as_wide_as_it_is_printed():
    import base64
    import struct

    width, height = struct.unpack(">II", base64.b64decode(theme.png_base64(drawing()))[16:24])
    assert (width, height) == (2 * theme.PRINT_DPI, theme.PRINT_DPI)


def test_dollar_signs_are_dollar_signs():
    with theme.print_style():
        assert drawing("$5 and $6").axes[0].title.get_parse_math() is False


def test_names_are_cut_and_characters_without_a_shape_are_boxed():
    assert theme.drawable("T-07") == "T-07"
    assert theme.drawable("a  b\nc") == "a b c"
    assert theme.drawable("x" * 200, 10) == "x" * 9 + "…"
    assert theme.drawable("plow 🚜") == "plow □"
    assert theme.drawable("שלום") == "שלום"


@pytest.mark.filterwarnings("error")
def test_a_boxed_name_draws_without_a_warning():
    assert theme.svg_text(drawing(theme.drawable("🚜 除雪 שלום"))).endswith("</svg>\n")


@pytest.mark.parametrize("name", ["Plain steel", "N" * 200])
def test_the_words_below_an_axis_stay_in_the_picture(name):
    from report_samples import LABELS, rates

    from trialkit.report import figures

    ax = figures.wear_rates(rates(labels=dict.fromkeys(LABELS, name)))
    figure = ax.get_figure()
    with theme.print_style():
        theme.keep_label_within(figure)
        figure.draw_without_rendering()
        label, whole = ax.xaxis.label.get_window_extent(), figure.get_window_extent()
        assert whole.x0 <= label.x0
        assert label.x1 <= whole.x1
    assert (ax.xaxis.label.get_horizontalalignment() == "right") == (name != "Plain steel")
