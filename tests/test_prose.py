"""Text cells: the strict subset, and every refusal."""

import pytest

from trialkit.report.prose import Run, literal, plain, read_markdown


def parts(source):
    return list(read_markdown(source))


def test_headings_paragraphs_and_lists():
    found = parts("## Wear\n\nOne line\nand the next.\n\n- a\n- b\n\n1. c\n2. d\n")
    assert [kind for kind, _ in found] == ["heading", "paragraph", "list", "list"]
    assert found[0][1] == (2, (Run(text="Wear"),))
    assert found[1][1] == (Run(text="One line and the next."),)
    assert found[2][1] == (False, ((Run(text="a"),), (Run(text="b"),)))
    assert found[3][1][0] is True


def test_styles_and_links():
    ((_, runs),) = parts("a **b** *c* `d_e` [f *g*](https://example.org/x) h")
    assert runs == (
        Run(text="a "),
        Run(text="b", bold=True),
        Run(text=" "),
        Run(text="c", italic=True),
        Run(text=" "),
        Run(text="d_e", code=True),
        Run(text=" "),
        Run(text="f ", href="https://example.org/x"),
        Run(text="g", italic=True, href="https://example.org/x"),
        Run(text=" h"),
    )


def test_styles_add_up():
    ((_, runs),) = parts("***both***")
    assert runs == (Run(text="both", bold=True, italic=True),)


def test_dollars_and_underscores_within_words_are_text():
    ((_, runs),) = parts("$5 and $6 for set_id & co")
    assert plain(runs) == "$5 and $6 for set_id & co"
    assert len(runs) == 1


def test_entities_and_escapes_are_characters():
    ((_, runs),) = parts(r"&lt;b&gt; \*not bold\* &copy;")
    assert plain(runs) == "<b> *not bold* ©"


def test_blank_cells_hold_nothing():
    assert parts("") == []
    assert parts("\n \n") == []


def test_literal_text_is_never_markup():
    assert literal("**a** <b>") == (Run(text="**a** <b>"),)
    assert literal("") == ()


@pytest.mark.parametrize(
    ("source", "reason"),
    [
        ("a <b>c</b>", "raw HTML: <b>"),
        ("<div>x</div>", "raw HTML: <div>x</div>"),
        ("<script>alert(1)</script>", "raw HTML: <script>alert"),
        ("![alt](x.png)", r"an image; draw it with blocks\.figure"),
        ("| a | b |\n|---|---|\n| 1 | 2 |", r"a table; show it with blocks\.table"),
        ("```\nx = 1\n```", "a code block: x = 1"),
        ("> said", "a quotation"),
        ("---", "a horizontal rule"),
        ("a ~~b~~", "struck-out text"),
        ("a[^1]\n\n[^1]: b", "a footnote"),
        ("- [ ] todo", "a task list"),
        ("a  \nb", "a forced line break"),
        ("- a\n  - b", "a list inside a list"),
        ("- a\n\n  b", "several paragraphs"),
        ("[a](javascript:alert(1))", r'a link to "javascript:alert\(1\)'),
        ("[a](data.csv)", r'a link to "data\.csv"; a link in a report starts with https://'),
    ],
)
def test_everything_else_is_refused_with_its_name(source, reason):
    with pytest.raises(ValueError, match=reason):
        parts(source)


def test_long_text_is_cut_in_the_refusal():
    with pytest.raises(ValueError, match=r"a code block: x{60}$"):
        parts("```\n" + "x" * 500 + "\n```")
