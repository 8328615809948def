"""Numbers and levels of a report's parts."""

from document_samples import meta, report

from trialkit.report import blocks, layout


def test_tables_and_figures_are_numbered_apart_in_their_order():
    labels = [part.label for part in layout.lay_out(report()).parts if part.label]
    assert labels == ["Table 1.", "Figure 1.", "Figure 2.", "Table 2."]


def test_problems_without_a_table_take_no_number():
    laid_out = layout.lay_out([meta(), blocks.problems([]), *report()[1:]])
    assert next(part.label for part in laid_out.parts if part.label) == "Table 1."


def test_the_full_title_says_what_it_is_and_that_it_is_interim():
    assert layout.full_title(meta()) == "Cutting edges"
    assert (
        layout.full_title(meta(subtitle="Report", interim=True))
        == "Cutting edges – Report (interim, not for decision)"
    )


def test_an_appendix_is_interim_if_one_of_its_parts_is():
    laid_out = layout.lay_out([*report(), *report(interim=True)])
    assert laid_out.meta.title == layout.APPENDIX_TITLE
    assert laid_out.meta.interim


def test_a_box_of_findings_stands_one_level_below_its_section():
    box = blocks.findings(["Found."])
    report_of_boxes = [
        meta(),
        box,
        blocks.heading("A"),
        box,
        blocks.heading("B", 3),
        box,
        blocks.heading("C"),
        box,
    ]
    shifts = [
        part.shift
        for part in layout.lay_out(report_of_boxes).parts
        if isinstance(part.block, blocks.Findings)
    ]
    assert [2 + shift for shift in shifts] == [2, 3, 4, 3]


def test_the_foot_of_a_page_is_one_line():
    assert layout.foot(meta()) == "Town of Brenmoor: Cutting edges"
    assert layout.foot(meta(title="n" * 200)) == f"Town of Brenmoor: {'n' * 71}…"


def test_numbers_of_the_appendix_are_none_of_the_report():
    first, second = report(), report(subtitle="Lives")
    laid_out = layout.lay_out([*first, *second])
    labelled = [(part.anchor, part.label) for part in laid_out.parts if part.label]
    assert labelled[:2] == [("table-a1", "Table A1."), ("figure-a1", "Figure A1.")]
    own = {part.label for part in layout.lay_out(first).parts if part.label}
    assert not own & {label for _, label in labelled}
    assert layout.Names().anchor("Table A1") == "s-table-a1"
