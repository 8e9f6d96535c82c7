"""How are title, maker, credit and rights written into a picture? As an XMP packet, the form that picture programs read.

ISO 16684-1:2019 (XMP data model, RDF/XML form); properties of the IPTC Photo Metadata Standard: Title, Creator, Credit Line,
Copyright Notice, Rights Usage Terms, Web Statement of Rights, Description, Digital Source Type, and the structure Artwork or
Object in the Image (its title, creator and inventory number).
"""

from __future__ import annotations

from html import escape

from ...records import record

_SPACES = {
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
    "xmpRights": "http://ns.adobe.com/xap/1.0/rights/",
    "photoshop": "http://ns.adobe.com/photoshop/1.0/",
    "Iptc4xmpExt": "http://iptc.org/std/Iptc4xmpExt/2008-02-29/",
}
SOURCE_TYPE = "http://cv.iptc.org/newscodes/digitalsourcetype/digitalCreation"
"""IPTC NewsCodes: made by a person with tools that are not generative; a rendering must not pass for a photograph."""
RENDERED = "Rendered from a scan; no photograph"


@record
class PictureWords:
    """What is said about a picture; '' is left out. `licence` is a web address or words; `accession` the owner's number."""

    title: str = ""
    maker: str = ""
    credit: str = ""
    rights: str = ""
    licence: str = ""
    accession: str = ""
    material: str = ""
    shot: str = ""

    def description(self) -> str:
        """One line about the picture for people."""
        said = [part for part in (self.title, self.shot, self.material) if part]
        return ". ".join([", ".join(said), RENDERED]) if said else RENDERED


def clean(text: str) -> str:
    """The text without characters that XML can't hold (XML 1.0, production 2), in one line."""
    kept = (
        letter if letter >= " " and letter not in "\ufffe\uffff" and not "\ud800" <= letter <= "\udfff" else " "
        for letter in text
    )
    return " ".join("".join(kept).split())


def packet(words: PictureWords) -> bytes:
    """The packet, UTF-8, without padding: it is read, never written over in place."""
    said = PictureWords(**{name: clean(value) for name, value in vars(words).items()})
    rows = [_plain("xmp:CreatorTool", "Bozzetto"), _local("dc:description", said.description())]
    rows.append(_plain("Iptc4xmpExt:DigitalSourceType", SOURCE_TYPE))
    rows += [_local("dc:title", said.title), _list("dc:creator", said.maker), _plain("photoshop:Credit", said.credit)]
    rows += [_local("dc:rights", said.rights or said.credit)]
    if said.rights or said.licence:
        rows.append(_plain("xmpRights:Marked", "True"))
    address = said.licence if said.licence.startswith(("https://", "http://")) else ""
    rows += [_plain("xmpRights:WebStatement", address), _local("xmpRights:UsageTerms", said.licence)]
    rows += [_plain("dc:identifier", said.accession), _object(said)]
    spaces = "\n".join(f' xmlns:{name}="{address}"' for name, address in _SPACES.items())
    body = "\n".join(row for row in rows if row)
    return (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n'
        '<x:xmpmeta xmlns:x="adobe:ns:meta/">\n'
        '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">\n'
        f'<rdf:Description rdf:about=""\n{spaces}>\n{body}\n</rdf:Description>\n</rdf:RDF>\n</x:xmpmeta>\n<?xpacket end="r"?>'
    ).encode()


def _plain(name: str, value: str) -> str:
    return f"<{name}>{escape(value, quote=False)}</{name}>" if value else ""


def _local(name: str, value: str) -> str:
    """Words of a language: a list of alternatives with a default."""
    inner = f'<rdf:Alt><rdf:li xml:lang="x-default">{escape(value, quote=False)}</rdf:li></rdf:Alt>'
    return f"<{name}>{inner}</{name}>" if value else ""


def _list(name: str, value: str) -> str:
    return f"<{name}><rdf:Seq><rdf:li>{escape(value, quote=False)}</rdf:li></rdf:Seq></{name}>" if value else ""


def _object(said: PictureWords) -> str:
    """The piece that is shown, apart from the picture of it."""
    inner = _local("Iptc4xmpExt:AOTitle", said.title) + _list("Iptc4xmpExt:AOCreator", said.maker)
    inner += _plain("Iptc4xmpExt:AOSourceInvNo", said.accession)
    if not inner:
        return ""
    item = f'<rdf:li rdf:parseType="Resource">{inner}</rdf:li>'
    return f"<Iptc4xmpExt:ArtworkOrObject><rdf:Bag>{item}</rdf:Bag></Iptc4xmpExt:ArtworkOrObject>"
