"""What a report says about how far the findings can be trusted."""

from doubt_samples import BOTH_SHARES, doubted
from wear_trials import fleet

from trialkit import columns as c
from trialkit.edges import variants
from trialkit.report import doubt_words


def text(block):
    return block.plain()


def test_findings_are_those_of_board_and_crosscheck():
    doubt = doubted(fleet(seed=3))
    assert doubt_words.findings(doubt) == [*doubt.board.sentences(), *doubt.cross.sentences()]
    assert "ways of working it out" in doubt_words.findings(doubt)[0]


def test_there_is_nothing_to_doubt_without_rates():
    assert doubt_words.findings(doubted([])) == [doubt_words.NOTHING_TO_DOUBT]
    assert doubt_words.findings(doubted(fleet(trucks=1)))[-1].startswith("Not cross-checked")


def test_a_result_without_sentences_says_why():
    box = doubt_words.said(doubted([]).board, doubt_words.STANDS_TITLE)
    assert [item.sentence for item in box.items] == ["There is no comparison whose finding could be tried."]


def test_board_has_a_column_for_each_comparison():
    table = doubt_words.board(doubted(fleet(n_types=3, seed=3)))
    assert [column.heading for column in table.columns] == [
        "What was changed",
        "Carbide insert",
        "Rubber carbide",
    ]
    assert table.rows[0][0] == "as reported"
    assert "times" not in table.texts[0][1]
    assert table.notes == ("How many times slower than plain steel it wears, with the 95% interval.",)


def test_trucks_are_told_with_the_change_they_make():
    doubt = doubted(fleet(n_types=3, seed=3))
    table = doubt_words.trucks(doubt)
    assert [row[0] for row in table.texts] == sorted(row[0] for row in table.texts)
    cells = {row[0]: row[1:] for row in table.texts}
    assert cells["ru1"][0] == "takes no part"
    assert cells["ru1"][1].endswith("%")


def test_what_falls_and_what_cannot_be_told_is_said():
    falls = variants.Variant(
        "ways",
        "another way",
        doubted(fleet(seed=3)).board.table.head(1)[variants.RATIO_COLUMNS].assign(**{c.CONF_LOW: 0.9}),
    )
    table = doubt_words.board(doubted(fleet(seed=3), others=[falls]))
    assert any(cell.endswith("; does not stand") for row in table.texts for cell in row)
    table = doubt_words.trucks(doubted(fleet(trucks=2, seed=3)))
    assert {row[1] for row in table.texts} == {"one truck on one side, no interval"}


def test_positions_are_in_the_headings():
    doubt = doubted([*fleet(seed=3), *fleet(place="wing_left", seed=4)])
    headings = [column.heading for column in doubt_words.board(doubt).columns]
    assert headings == ["What was changed", "Carbide insert, front", "Carbide insert, left wing"]


def test_nothing_to_compare_is_said():
    doubt = doubted(fleet(n_types=1))
    assert text(doubt_words.board(doubt)) == doubt_words.NO_COMPARISON
    assert text(doubt_words.trucks(doubt)) == doubt_words.NO_COMPARISON


def test_crosscheck_sets_three_ways_side_by_side():
    table = doubt_words.crosscheck(doubted([*fleet(seed=3), *fleet(n_types=1, trucks=1, place="underbody")]))
    assert [column.heading for column in table.columns if column.shown][2:] == [
        "Truck by truck", "One model of all readings", "The same, Kenward-Roger", "Agree",
    ]  # fmt: skip
    assert "3.0 df" in table.texts[0][2]
    assert table.texts[-1][2].endswith("(no interval)")
    assert table.texts[-1][5] == "not compared"


def test_a_model_that_was_not_fitted():
    table = doubt_words.crosscheck(doubted(fleet(error=0.0, step=0.0)))
    assert table.texts[0][3] == "not fitted"


def test_run_in_says_what_was_left_out():
    assert doubt_words.run_in(doubted(fleet(), run_in_mi=100.0))[0] == (
        "The first 100 miles after an install are left out of the rates as running-in. With them the wear runs like this."
    )
    assert doubt_words.run_in(doubted(fleet()))[0] == "Nothing is left out of the rates as running-in."


def test_bend_names_late_less_early():
    assert "Late less early [in/1000 mi]" in text(doubt_words.bend(doubted(fleet())))


def test_what_stands_apart_is_listed_with_rows():
    rows = [list(row) for row in fleet(readings=8, seed=3)]
    rows[60][9] += 0.3
    assert "62" in text(doubt_words.apart(doubted([tuple(row) for row in rows]))).splitlines()[3]
    assert text(doubt_words.apart(doubted(fleet(seed=3)))) == doubt_words.NOTHING_APART


def test_shares_have_a_row_for_each_truck():
    table = doubt_words.shares(doubted(fleet(), blade=BOTH_SHARES))
    assert [row[0] for row in table.texts] == ["T1, front", "T2, front"]
    # by hand: 200 of 500, 200 of 400, 300 of 500
    assert [row[2] for row in table.texts] == ["40", "60"]
    assert [row[4] for row in table.texts] == ["50", "–"]
    assert text(doubt_words.shares(doubted(fleet()))) == doubt_words.NO_SHARES


def test_method_and_caveats_come_from_every_check():
    doubt = doubted(fleet(trucks=1))
    assert len(doubt_words.method(doubt)) == 5
    assert any("not independent of each other" in note for note in doubt_words.caveats(doubt))
    assert any("is not cross-checked" in note for note in doubt_words.caveats(doubt))
