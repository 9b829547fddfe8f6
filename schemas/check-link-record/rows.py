"""One element as a row: its cells checked and printed in canonical form."""

import values

XSI = "http://www.w3.org/2001/XMLSchema-instance "


class Definitions:
    """The tables as definitions.json lists them: by the name of the element."""

    def __init__(self, listed):
        self.namespace, self.version = listed["namespace"], listed["version"]
        self.words, self.rows = listed["words"], {}
        for place, (name, table) in enumerate(listed["tables"].items()):
            table["name"], table["place"] = name, place
            table["columns"] = {c["name"]: c for c in table["columns"]}
            self.rows[table["row"]] = table

    def inside(self, table):
        """Whether rows of a table stand inside a record."""
        return table["level"] == "record" and table["name"] != "records"


class Row:
    """An element being read. cells: text by column, base64 undone, in its lexical form; None where unsound.

    faults: (refused, message, found, expected), each fault once.
    """

    def __init__(self, definitions, table, attributes, line):
        self.definitions, self.table, self.line = definitions, table, line
        self.given, self.content, self.faults, self.cells = {}, [], [], {}
        for name, text in attributes.items():
            if not name.startswith(XSI) or name.rpartition(" ")[2] not in (
                "schemaLocation",
                "noNamespaceSchemaLocation",
            ):
                self.given[name] = text

    def finish(self):
        """Checks every cell."""
        table, given = self.table, dict(self.given)
        content = table["content"]
        null = given.pop("null", None) if content and table["columns"][content]["null"] else None
        textual = any(c["kind"] in ("text", "key") for c in table["columns"].values())
        marked = values.split(given.pop("encoded", "")) if textual else []
        if null is not None and null != content:
            self._fault(True, "null names another column than the content", null, content)
        implied = "record_id" if self.definitions.inside(table) else ""
        for name in given:
            if name not in table["columns"] or name in (content, implied):
                known = sorted(k for k in table["columns"] if k not in (content, implied))
                self._fault(True, f"an attribute that {table['row']} does not have", name, ", ".join(known))
        text = "".join(self.content)
        if content:
            if null is None:
                given[content] = text
            elif text:
                self._fault(False, "a content that is marked as null holds text", text, "no text")
        elif text:
            self._fault(True, f"text inside {table['row']}, which has none", text, "an empty element")
        self._decode(given, marked)
        for name, column in table["columns"].items():
            if name in given:
                self._cell(column, given[name], name == content)
            elif not column["null"] and name != implied:
                self._fault(True, f"{name} is not there", "no attribute", f"the attribute {name} on {table['row']}")

    def _cell(self, column, text, is_content):
        words = self.definitions.words.get(column["words"], ())
        try:
            self.cells[column["name"]] = values.cell(column["kind"], words, text, is_content)
        except values.Refused as why:
            refused = not isinstance(why, values.Aside)
            self._fault(refused, f"{self.table['name']}.{column['name']} cannot be taken", why.found, why.expected)

    def _decode(self, given, marked):
        for name in marked:
            column = self.table["columns"].get(name)
            if column is None or column["kind"] not in ("text", "key") or name not in given:
                self._fault(
                    False, f"encoded names {name}, which is no text here", name, "a column of text that is here"
                )
                continue
            try:
                given[name] = values.decoded(given[name])
            except values.Aside as why:
                self._fault(False, f"{self.table['name']}.{name} is marked as base64", why.found, why.expected)

    def _fault(self, refused, message, found, expected):
        self.faults.append((refused, message, found, expected))

    def canonical(self):
        """The row as an element in canonical form; of a record its start tag. Only where there are no faults."""
        attributes, content, encoded = {}, "", []
        for name, column in self.table["columns"].items():
            text = self.cells.get(name)
            if text is None:
                continue
            if column["kind"] in ("text", "key"):
                text, marked = values.held(text)
                if marked:
                    encoded.append(name)
            if name == self.table["content"]:
                content = values.in_text(text)
            else:
                attributes[name] = values.in_attribute(text)
        if encoded:
            attributes["encoded"] = " ".join(sorted(encoded))
        if self.table["content"] and self.cells.get(self.table["content"]) is None:
            attributes["null"] = self.table["content"]
        row = self.table["row"]
        listed = "".join(f' {k}="{attributes[k]}"' for k in sorted(attributes))
        if self.table["name"] == "records":
            return f'<{row} xmlns="{self.definitions.namespace}"{listed}>'
        return f"<{row}{listed}>{content}</{row}>"
