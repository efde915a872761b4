"""Reads meta.xml, which says what stands in which column, and the metadata document beside it.

After the Darwin Core Text Guide of TDWG (https://dwc.tdwg.org/text/): the core and its extensions
are named by ``rowType``, columns by ``term``, and their order is never assumed.
"""

from xml.etree import ElementTree

from .files import Files
from .source import TAXON, VERNACULAR, About, ArchiveError, Table

META = "meta.xml"
_UNNAMED = "So the release has no title, version, licence or source"
_ESCAPES = {"\\t": "\t", "\\n": "\n", "\\r": "\r", "\\r\\n": "\r\n"}
# Publishers spell the two kinds that are read in several ways (http, https, capitals).
_KINDS = {"taxon": TAXON, "vernacularname": VERNACULAR}


def local(term: str) -> str:
    """The last part of a term: ``http://rs.tdwg.org/dwc/terms/taxonRank`` is taxonRank."""
    return term.strip().rsplit("/", 1)[-1].rsplit(":", 1)[-1].rsplit("#", 1)[-1]


def read_meta(files: Files) -> tuple[Table, list[Table], str]:
    """The core, the extensions, and the name of the metadata document. Raises :class:`ArchiveError`."""
    root = files.xml(META)
    core = root.find("{*}core")
    if core is None:
        raise ArchiveError(META, "expected an element <core>; this is no Darwin Core Archive")
    table = _table(core, "id")
    if table.row_type != TAXON:
        raise ArchiveError(META, f"expected a core of {TAXON}, found {table.row_type}")
    if not {"id", "taxonID"} & set(table.columns):
        raise ArchiveError(META, f"{table.location}: no column is the id or the taxonID")
    extensions = [_table(node, "coreid") for node in root.findall("{*}extension")]
    return table, extensions, root.get("metadata", "")


def read_about(files: Files, location: str, remarks: list[str]) -> About:
    """Title, date, licence and source out of an EML document, whatever its version.

    The data can be read without it: what is missing, no XML or not to be trusted becomes a remark.
    """
    if not location:
        return About()
    try:
        dataset = files.xml(location).find("{*}dataset")
    except ArchiveError as error:
        remarks.append(f"{error}. {_UNNAMED}")
        return About()
    if dataset is None:
        remarks.append(f"{location}: no <dataset> in it. {_UNNAMED}")
        return About()
    licence = dataset.find("{*}intellectualRights")
    return About(
        title=_text(dataset, "{*}title"),
        version=_text(dataset, "{*}pubDate"),
        licence=" ".join("".join(licence.itertext()).split()) if licence is not None else "",
        source=_text(dataset, "{*}distribution/{*}online/{*}url"),
    )


def _text(node: ElementTree.Element, path: str) -> str:
    return " ".join(node.findtext(path, "").split())


def _table(node: ElementTree.Element, identifier: str) -> Table:
    row_type = node.get("rowType", "")
    row_type = _KINDS.get(local(row_type).casefold(), row_type)
    locations = [place.text.strip() for place in node.findall("{*}files/{*}location") if place.text]
    if not locations:
        raise ArchiveError(META, f"a {local(row_type) or 'table'} names no file")
    if len(locations) > 1:
        what = f"{local(row_type)} is split over {', '.join(locations)}; join them into one file"
        raise ArchiveError(META, what)
    columns, defaults = _columns(node, identifier, locations[0])
    return Table(
        row_type=row_type,
        location=locations[0],
        columns=columns,
        defaults=defaults,
        separator=_separator(node, locations[0]),
        quote=node.get("fieldsEnclosedBy", '"'),
        encoding=_encoding(node, locations[0]),
        header_lines=_number(node.get("ignoreHeaderLines") or "0", "ignoreHeaderLines", locations[0]),
    )


def _columns(
    node: ElementTree.Element, identifier: str, location: str
) -> tuple[dict[str, int], dict[str, str]]:
    columns: dict[str, int] = {}
    defaults: dict[str, str] = {}
    id_node = node.find(f"{{*}}{identifier}")
    if id_node is not None:
        columns["id"] = _number(id_node.get("index", ""), f"<{identifier}>", location)
    elif identifier == "coreid":
        raise ArchiveError(META, f"{location}: expected <coreid index=...>, the column of the core's id")
    for item in node.findall("{*}field"):
        term = local(item.get("term", ""))
        if not term:
            raise ArchiveError(META, f"{location}: a <field> without a term")
        if term in columns or term in defaults:
            raise ArchiveError(META, f"{location}: {term} is given to two columns")
        index = item.get("index")
        if index is not None:
            columns[term] = _number(index, term, location)
        if item.get("default"):
            defaults[term] = item.get("default", "").strip()
    return columns, defaults


def _number(text: str, what: str, location: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) < 6):
        raise ArchiveError(META, f'{location}: an index is not a whole number: {what} has "{text}"')
    return int(text)


def _separator(node: ElementTree.Element, location: str) -> str:
    separator = node.get("fieldsTerminatedBy", ",")
    separator = _ESCAPES.get(separator, separator)
    quote = node.get("fieldsEnclosedBy", '"')
    if not separator or len(quote) > 1 or (quote and len(separator) > 1):
        what = f'{location}: cannot tell fields apart by "{separator}" with quotes "{quote}"'
        raise ArchiveError(META, what)
    return separator


def _encoding(node: ElementTree.Element, location: str) -> str:
    encoding = node.get("encoding") or "UTF-8"
    try:
        "".encode(encoding)
    except LookupError as error:
        raise ArchiveError(META, f'{location}: no encoding is called "{encoding}"') from error
    return encoding
