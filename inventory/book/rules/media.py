"""What a file is, told by its first bytes and not by its name."""

# (bytes at the start, offset, media type). Signatures: the formats' own specifications
# (ISO 32000, ISO/IEC 15948, ITU-T T.81, ISO/IEC 14496-12, RFC 9649, PKWARE APPNOTE).
_SIGNATURES = (
    (b"%PDF-", 0, "application/pdf"),
    (b"\x89PNG\r\n\x1a\n", 0, "image/png"),
    (b"\xff\xd8\xff", 0, "image/jpeg"),
    (b"ftypheic", 4, "image/heic"),
    (b"ftypmif1", 4, "image/heic"),
    (b"WEBP", 8, "image/webp"),
    (b"PK\x03\x04", 0, "application/zip"),
)
# What is a zip inside is told apart by its name, and only among these.
_ZIPPED = {
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".docx": "application/vnd.openxmlformats-officedocument.wordprocessingml.document",
    ".ods": "application/vnd.oasis.opendocument.spreadsheet",
    ".odt": "application/vnd.oasis.opendocument.text",
    ".zip": "application/zip",
}
_TEXTS = {".csv": "text/csv", ".txt": "text/plain", ".eml": "message/rfc822"}
TAKEN = "PDF, PNG, JPEG, HEIC, WebP, xlsx, docx, ods, odt, zip, csv, txt or eml"


def media_type(name: str, content: bytes) -> str:
    """The media type of a file, "" for what is not taken. Plain text must be UTF-8 without NUL."""
    suffix = "." + name.rpartition(".")[2].lower()
    for signature, offset, found in _SIGNATURES:
        if content[offset : offset + len(signature)] == signature:
            return _ZIPPED.get(suffix, "") if found == "application/zip" else found
    if suffix in _TEXTS and b"\x00" not in content:
        try:
            content.decode("utf-8-sig")
        except UnicodeDecodeError:
            return ""
        return _TEXTS[suffix]
    return ""
