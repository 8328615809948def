"""A web page as its tags and texts, for the tests of pages."""

from html.parser import HTMLParser

NO_END = {"meta", "img", "br", "link", "hr", "input", "col"}


class Page(HTMLParser):
    """Tags, texts and attributes of a page, with a check that tags are closed in order."""

    def __init__(self, html):
        super().__init__(convert_charrefs=True)
        self.tags, self.open, self.texts = [], [], []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs), tuple(self.open)))
        if tag not in NO_END:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] != "style":
            self.texts.append((tuple(self.open), data))

    def all(self, tag):
        return [attrs for name, attrs, _ in self.tags if name == tag]

    def text(self, within=None):
        words = "".join(data for path, data in self.texts if within is None or within in path)
        return " ".join(words.split())
