"""Words of the figures of doubt: built from the results, so they follow them."""

from doubt_samples import comparison, doubted
from test_doubt_figures import PLAIN
from wear_trials import fleet

from trialkit import columns as c
from trialkit.report import doubt_captions


def test_the_board_is_told_panel_by_panel():
    said = doubt_captions.board(comparison(PLAIN))
    assert said["caption"] == (
        "How many times slower than plain steel each edge type wears, as reported and with one thing changed at a time, with "
        "its 95% interval."
    )
    assert said["alt"] == (
        "1 panel with a row for each change: times slower than plain steel with its 95% interval, and a band for the interval as "
        "reported. Carbide insert: as reported 10 (5.0 to 20) times; estimates in the rows between 8.0 and 12 times; it "
        "does not stand without one truck, nearest to 1."
    )
    assert said["data"][c.TRUCK_ID].tolist() == ["", "T1", "T2", "T3", "", ""]


def test_comparisons_that_are_not_drawn_are_counted():
    rows = [(f"type_{k}", "as reported", "", 10.0, 5.0, 20.0, "yes", "") for k in range(6)]
    assert doubt_captions.board(comparison(rows))["caption"].endswith(
        "The first 4 of 6 comparisons are drawn."
    )


def test_a_board_without_rows_has_words():
    said = doubt_captions.board(doubted(fleet(n_types=1)).board)
    assert "slower than the reference" in said["caption"]
    assert said["data"].empty


def test_positions_are_named():
    doubt = doubted([*fleet(seed=3), *fleet(place="wing_left", seed=4)])
    assert "Carbide insert, left wing: as reported" in doubt_captions.board(doubt.board)["alt"]


def test_wear_is_told_by_type():
    doubt = doubted(fleet(trucks=2, sets=2, error=0.0, step=0.0, spread=0.0))
    said = doubt_captions.truck_wear(doubt.rates, doubt.readings)
    assert "Plain steel: 2 trucks, 4 sets, up to 0.90 in of wear over up to 600 miles." in said["alt"]
    assert said["data"][c.N_SETS].tolist() == [2, 2, 2, 2]


def test_residuals_name_the_rows():
    rows = [list(row) for row in fleet(readings=8, seed=3)]
    rows[60][9] += 0.3
    said = doubt_captions.residuals(doubted([tuple(row) for row in rows]).apart)
    assert "1 stands apart (row 62)." in said["alt"]
    assert "Carbide insert: 96 readings between" in said["alt"]
    assert "none stands apart." in said["alt"]
    assert len(said["data"]) == 8
