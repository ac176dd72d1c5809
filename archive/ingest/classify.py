"""What each file of a card is: by its place, its name and its first bytes.

Content outweighs an extension that lies. What is not recognised is UNKNOWN, and is copied like
everything else that is not litter.
"""

from __future__ import annotations

from pathlib import PurePosixPath

from archive.ingest.signatures import Content, content_of
from archive.model.capture import Role


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


RAW = _words(
    "3fr arq arw bay cap cr2 cr3 crw cs1 dc2 dcr dcs dng drf eip erf fff gpr iiq k25 kc2 kdc mdc "
    "mef mfw mos mrw nef nrw ori orf ouf pef ptx pxn qtk raf raw rdc rw2 rwl rwz sr2 srf srw sti x3f"
)
PICTURES = _words("jpg jpeg jpe jfif mpo jps insp heic heif hif avif jxl tif tiff png webp jp2 bmp gif")
CLIPS = _words(
    "mov mp4 m4v qt mts m2ts m2t mod tod ts avi mxf mkv webm wmv asf mpg mpeg 3gp 3g2 insv 360 crm"
)
SOUNDS = _words("wav mp3 m4a aac aif aiff flac ogg oga opus wma")
SIDECARS = _words("xmp thm lrv lrf srt vtt gpx kml nmea")
HOUSEKEEPING = _words("ctg dsc bdm bdmv cpi mpl ind inx int inf mrk tdt tid ncf log sav ppn bnp bup ifo scr")

_HOUSEKEEPING_NAMES = _words(
    "autprint.mrk autplay0.mrk autplay1.mrk mediapro.xml cueup.xml discmeta.xml status.bin version.txt "
    "memstick.ind memstick.pro wmpinfo.xml"
)
_HOUSEKEEPING_FOLDERS = _words(
    "misc private canonmsc avf_info database mp_root avchdtn clipinf playlist backup meta thmbnl"
)

_LITTER_FOLDERS = {
    ".spotlight-v100": "macOS search index",
    ".trashes": "macOS trash",
    ".trash": "macOS trash",
    ".fseventsd": "macOS change log",
    ".documentrevisions-v100": "macOS document versions",
    ".temporaryitems": "macOS temporary files",
    "system volume information": "Windows volume data",
    "$recycle.bin": "Windows recycle bin",
    "recycler": "Windows recycle bin",
    "lost+found": "file-system repair folder",
    "lost.dir": "file-system repair folder",
    ".android_secure": "Android system folder",
}
_LITTER_NAMES = {
    ".ds_store": "macOS folder settings",
    ".localized": "macOS folder settings",
    ".volumeicon.icns": "macOS volume icon",
    ".apdisk": "macOS share data",
    ".com.apple.timemachine.donotpresent": "macOS backup mark",
    ".metadata_never_index": "macOS search setting",
    "thumbs.db": "Windows thumbnail cache",
    "ehthumbs.db": "Windows thumbnail cache",
    "desktop.ini": "Windows folder settings",
    "autorun.inf": "Windows autorun settings",
    "indexervolumeguid": "Windows volume data",
    "wpsettings.dat": "Windows volume data",
    ".directory": "Linux folder settings",
}
_MEDIA = {Content.PICTURE: Role.PICTURE, Content.CLIP: Role.CLIP, Content.SOUND: Role.SOUND}


def classify(relative_path: PurePosixPath, head: bytes) -> tuple[Role, str | None]:
    """The role of a file, and for operating-system litter what left it there.

    Parameters
    ----------
    relative_path : where it lies below the card's root.
    head : its first bytes; 64 KiB recognise everything this module knows.
    """
    name = relative_path.name.lower()
    content = content_of(head)
    litter = _litter(relative_path, name, content)
    if litter:
        return Role.LITTER, litter
    extension = name.rpartition(".")[2] if "." in name else ""
    folders = {part.lower() for part in relative_path.parts[:-1]}
    by_name = _role_of(extension)
    if by_name is Role.SIDECAR:
        return by_name, None
    if name in _HOUSEKEEPING_NAMES:
        return Role.HOUSEKEEPING, None
    if folders & _HOUSEKEEPING_FOLDERS and by_name in (Role.UNKNOWN, Role.HOUSEKEEPING):
        return Role.HOUSEKEEPING, None
    return _by_content(by_name, content), None


def _role_of(extension: str) -> Role:
    families = {
        Role.RAW: RAW,
        Role.PICTURE: PICTURES,
        Role.CLIP: CLIPS,
        Role.SOUND: SOUNDS,
        Role.SIDECAR: SIDECARS,
        Role.HOUSEKEEPING: HOUSEKEEPING,
    }
    return next((role for role, names in families.items() if extension in names), Role.UNKNOWN)


def _by_content(by_name: Role, content: Content | None) -> Role:
    if content is Content.TIFF:
        return Role.RAW if by_name is Role.RAW else Role.PICTURE
    if content is Content.RAW:
        # A movie of raw frames carries the raw format's own mark.
        return Role.CLIP if by_name is Role.CLIP else Role.RAW
    if content in (Content.PICTURE, Content.CLIP, Content.SOUND):
        told = _MEDIA[content]
        # MP4 and Matroska hold sound alone just as well.
        return by_name if (told, by_name) == (Role.CLIP, Role.SOUND) else told
    return by_name


def _litter(path: PurePosixPath, name: str, content: Content | None) -> str | None:
    for part in path.parts[:-1]:
        lowered = part.lower()
        if lowered in _LITTER_FOLDERS:
            return _LITTER_FOLDERS[lowered]
        if lowered.startswith(".trash-"):
            return "Linux trash"
    if name.startswith("._") and content in (None, Content.APPLE_DOUBLE):
        return "macOS resource data"
    if name.startswith(".trash-"):
        return "Linux trash"
    return _LITTER_NAMES.get(name) or _LITTER_FOLDERS.get(name)
