"""The XML Schema, by lxml or by xmllint where one of them is there."""

import re
import shutil
import subprocess
import tempfile
from pathlib import Path


def judged(path, xsd):
    """Who looked ("" where nobody could) and what it refused ("" where nothing).

    The document has been read before and has no document type declaration.
    """
    try:
        from lxml import etree
    except ImportError:
        return _by_xmllint(path, xsd)
    safe = {"resolve_entities": False, "no_network": True, "load_dtd": False, "huge_tree": False}
    schema = etree.XMLSchema(etree.fromstring(xsd, etree.XMLParser(**safe)))
    try:
        with Path(path).open("rb") as file:
            for _, element in etree.iterparse(file, schema=schema, **safe):
                parent = element.getparent()
                if parent is not None and parent.getparent() is None:
                    element.clear()
                    while element.getprevious() is not None:
                        del parent[0]
    except etree.XMLSyntaxError as error:
        return "lxml", re.sub(r"\s+", " ", str(error))
    return "lxml", ""


def _by_xmllint(path, xsd):
    program = shutil.which("xmllint")
    if program is None:
        return "", ""
    with tempfile.TemporaryDirectory() as folder:
        held = Path(folder, "link-record.xsd")
        held.write_bytes(xsd)
        command = [program, "--noout", "--nonet", "--stream", "--schema", held, Path(path).resolve()]
        try:
            run = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False)
        except OSError:
            return "", ""
    if run.returncode == 0:
        return "xmllint", ""
    if run.returncode in (1, 3):  # not well-formed, not valid
        return "xmllint", run.stderr.strip().partition("\n")[0]
    return "", ""
