"""The surveys of one volume: measures documents, and the previews and slices they name, proven by digest."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from archive.errors import ArchiveError, DamagedFileError, shown
from archive.formats import survey as survey_format
from archive.model.identity import derived_key
from archive.model.survey import KeptFile, SurveyDocument
from archive.store.digest import digest_bytes
from archive.store.durable import read_bytes, temporary_name
from archive.store.ports import Disk

SURVEY = "survey"
_LARGEST = 1 << 27


def survey_folder(roll_folder: str) -> str:
    """Where a roll's survey lies below a volume; ``roll_folder`` is ``NIGHT/NAME-ID``."""
    return f"{SURVEY}/{roll_folder.rpartition('/')[2]}"


def document_names(disk: Disk, folder: str) -> list[str]:
    """The file names of a roll's measures documents, sorted."""
    return [name for name in disk.files(folder) if survey_format.method_of(name) is not None]


def read_document(disk: Disk, folder: str, name: str) -> SurveyDocument:
    """One measures document, held against its name.

    Raises
    ------
    DamagedFileError : when it was changed, cut or is unreadable. NewerFormatError : by a newer release.
    """
    path = f"{folder}/{name}"
    try:
        data = read_bytes(disk, path, limit=_LARGEST)
    except OSError as error:
        raise DamagedFileError(
            f"The survey document {shown(path)} cannot be read: {error.strerror}.",
            hint="It was not changed; `noctuary survey` measures its frames again.",
        ) from error
    return survey_format.decode(data, name)


def state_of(disk: Disk, folder: str) -> str:
    """A key that changes when a roll's measures documents do: their names, sizes and times."""
    found = ((name, disk.stat(f"{folder}/{name}")) for name in document_names(disk, folder))
    return derived_key("survey-state", [[name, s.size, str(s.modified_ns)] for name, s in found if s])


def read_kept(disk: Disk, folder: str, kept: KeptFile) -> bytes:
    """The bytes of a preview or slices file, proven.

    Raises
    ------
    FileNotFoundError : when it is not there. DamagedFileError : when its bytes are others, or unreadable.
    """
    path = f"{folder}/{kept.path}"
    try:
        data = read_bytes(disk, path, limit=_LARGEST)
    except FileNotFoundError:
        raise
    except OSError as error:
        raise _damaged(path, f"cannot be read: {error.strerror}") from error
    if digest_bytes(data) != kept.digest:
        raise _damaged(path, "is damaged: its bytes are not those that were surveyed")
    return data


def is_damaged(disk: Disk, folder: str, name: str) -> bool:
    """Whether a document's bytes are others than its name tells; of one that cannot be read nobody knows."""
    try:
        survey_format.decode(read_bytes(disk, f"{folder}/{name}", limit=_LARGEST), name)
    except DamagedFileError:
        return True
    except (ArchiveError, OSError):
        return False
    return False


def write_survey(disk: Disk, folder: str, files: Mapping[str, bytes], document: SurveyDocument) -> int:
    """Put previews and slices, then the document that names them; each durable before the next.

    Files that are there already with the same bytes stay; damaged ones give way. Answers how many were put.
    """
    put = sum([_publish(disk, f"{folder}/{path}", data) for path, data in files.items()])
    for below in sorted({path.rpartition("/")[0] for path in files}):
        # Names of one folder become durable together.
        disk.sync_folder(f"{folder}/{below}")
    name, data = survey_format.encode(document)
    put += _publish(disk, f"{folder}/{name}", data)
    disk.sync_folder(folder)
    return put


def _publish(disk: Disk, target: str, data: bytes) -> bool:
    """Put a file, unless it is there already; answers whether it was put."""
    found = disk.stat(target)
    if found is not None and found.size == len(data) and _holds(disk, target, data):
        return False
    if found is not None:
        # Named by other bytes than it holds: nobody can use it, and it would stay in the way for ever.
        disk.remove(target)
    temporary = temporary_name("survey")
    writing = disk.begin(temporary)
    try:
        writing.write(data)
        writing.finish()
        disk.publish(temporary, target)
    except BaseException:
        writing.abandon()
        raise
    return True


def _holds(disk: Disk, target: str, data: bytes) -> bool:
    try:
        return read_bytes(disk, target) == data
    except OSError:
        # What cannot be read where its bytes are at hand is as good as damaged.
        return False


def copy_survey(source: Disk, target: Disk, folder: str) -> int:
    """Bring a roll's documents, with what they name, to a volume that lacks them; how many came.

    Raises
    ------
    ArchiveError : when something of the source is damaged or missing; what came before is whole.
    """
    held = set(document_names(target, folder))
    came = 0
    for name in document_names(source, folder):
        if name in held:
            continue
        document = read_document(source, folder, name)
        files = {kept.path: read_kept(source, folder, kept) for kept in named_files(document)}
        write_survey(target, folder, files, document)
        came += 1
    return came


def named_files(document: SurveyDocument) -> Sequence[KeptFile]:
    """Every preview and slices file that a document names."""
    return [document.slices, *(frame.preview for frame in document.frames)]


def surveyed_files(disk: Disk) -> Iterator[tuple[str, KeptFile | ArchiveError]]:
    """Every file that the surveys of a volume vouch for, by path; of a document that fails, its error."""
    for name in disk.folders(SURVEY):
        folder = f"{SURVEY}/{name}"
        for document_name in document_names(disk, folder):
            try:
                document = read_document(disk, folder, document_name)
            except ArchiveError as error:
                yield f"{folder}/{document_name}", error
                continue
            for kept in named_files(document):
                yield f"{folder}/{kept.path}", kept


def _damaged(path: str, fault: str) -> DamagedFileError:
    return DamagedFileError(
        f"The survey file {shown(path)} {fault}.",
        hint="The master is untouched; `noctuary survey` makes it again.",
    )
