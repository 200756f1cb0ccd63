"""`manage.py ingest`: bring pictures in, one by one or a whole campaign by table."""

import dataclasses
import json
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from imaging.errors import FieldRefusedError, ImagingError, TableRefusedError
from imaging.management.progress_line import ProgressLine
from imaging.models import Artwork, Face, FaceKind, Job, JobStatus, Membership, Person, Role, TechnicalImage
from imaging.services.image_tables import TableLine, read_image_table
from imaging.services.job_waiting import wait_for_jobs
from imaging.services.master_files import Incoming, Receipt
from imaging.services.receiving import BroughtIn, address_of_image, bring_in_image, check_incoming, check_slip
from imaging.services.slips import SLIP_FIELDS, Slip, read_slip

__all__ = ["Command"]

_USAGE, _FAILURE = 2, 1
_HELP = {
    "modality": "code, such as VIS, RAK, UVL, IRR, XR",
    "state": "before, during or after treatment",
    "band_nm": "two wavelengths in nm, such as 900-1700",
    "um_per_px": "micrometres per pixel on the work",
    "same_grid_as": "image (its id, or the name of its file) that this one is aligned with already",
    "campaign_date": "first day of the campaign, YYYY-MM-DD",
    "embargo_until": "closed until this date, YYYY-MM-DD",
}


@dataclasses.dataclass(frozen=True)
class _Entry:
    """One picture to bring in, with everything looked up and checked."""

    incoming: Incoming
    slip: Slip
    face: Face
    person: Person


class Command(BaseCommand):
    """Check everything, then bring it in; nothing is received when anything cannot be used."""

    requires_system_checks: list[str] = []
    help = "Bring pictures in: FILE... with --artwork, --modality, --state; or --table images.csv."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take files or a table, and every field of the slip."""
        parser.add_argument("files", nargs="*", metavar="FILE", type=Path)
        parser.add_argument("--table", type=Path, help="CSV, one picture a line")
        parser.add_argument("--artwork", metavar="NUMBER", help="inventory number of the work")
        parser.add_argument("--study", metavar="NAME", help="which study, if the number is used in several")
        parser.add_argument("--face", choices=FaceKind.values, default=FaceKind.FRONT.value, help="side of the work")
        parser.add_argument("--in-place", action="store_true", help="use the files where they lie; never written")
        parser.add_argument("--wait", action="store_true", help="return when the pictures are read and published")
        parser.add_argument("--as", dest="email", metavar="EMAIL", help="who brings them in; else the study's lead")
        parser.add_argument("--json", action="store_true", help="print one JSON object a picture")
        for name in SLIP_FIELDS:
            # Django's own --version prints the version of Django.
            option = "image-version" if name == "version" else name.replace("_", "-")
            parser.add_argument(f"--{option}", dest=name, metavar="TEXT", help=_HELP.get(name))

    def handle(self, *args: Any, **options: Any) -> None:
        """Bring everything in and print what each became."""
        entries = self.entries(options)
        _refuse_bad_files(entries)
        brought = [self.bring_in(entry, options) for entry in entries]
        if options["wait"]:
            self.wait_for(brought)

    def entries(self, options: dict[str, Any]) -> list[_Entry]:
        """Return the checked entries; exit 2 names what cannot be used."""
        if bool(options["files"]) == bool(options["table"]):
            raise CommandError("Give files, or --table, and not both.", returncode=_USAGE)
        try:
            if options["table"]:
                return _table_entries(options)
            return _file_entries(options)
        except ImagingError as err:
            raise CommandError(str(err), returncode=_USAGE) from err

    def bring_in(self, entry: _Entry, options: dict[str, Any]) -> BroughtIn:
        """Bring one picture in and print its id and address."""
        line = ProgressLine()
        try:
            came = bring_in_image(
                entry.incoming,
                entry.slip,
                face=entry.face,
                person=entry.person,
                progress=lambda done, total: line.count(entry.incoming.name, done=done, total=total),
            )
        except ImagingError as err:
            raise CommandError(f"{err} What was printed before was received.", returncode=_FAILURE) from err
        finally:
            line.end()
        for twin in came.duplicates:
            self.stderr.write(
                f"{entry.incoming.name}: the same bytes are here already as {twin} ({address_of_image(twin)}). "
                "Withdraw one of the two, or say in the title how they differ."
            )
        self.show(entry, came, is_json=options["json"])
        return came

    def show(self, entry: _Entry, came: BroughtIn, *, is_json: bool) -> None:
        """Print the id and address of an image."""
        address = address_of_image(came.image)
        if not is_json:
            self.stdout.write(f"{came.image.pk} {address}")
            return
        document = {
            "image": str(came.image.pk),
            "address": address,
            "file": str(entry.incoming.path),
            "sha256": came.image.master.sha256 if came.image.master else "",
            "job": str(came.job.pk),
            "duplicates": [str(twin.pk) for twin in came.duplicates],
        }
        self.stdout.write(json.dumps(document))

    def wait_for(self, brought: list[BroughtIn]) -> None:
        """Wait for the pictures' jobs; exit 1 with the sentences of those that stopped."""
        line, images = ProgressLine(), [came.image.pk for came in brought]
        wait_for_jobs([came.job.pk for came in brought], lambda jobs: line.show(f"{len(jobs)} job(s) to go"))
        line.end()
        stopped = Job.objects.filter(image__in=images, status__in=[JobStatus.STOPPED, JobStatus.CANCELLED])
        for image in TechnicalImage.objects.filter(pk__in=images).select_related("campaign", "master"):
            self.say_doubts(image)
        if stopped.exists():
            sentences = [job.error or f"{job.kind}: cancelled" for job in stopped]
            raise CommandError("\n".join(sentences), returncode=_FAILURE)

    def say_doubts(self, image: TechnicalImage) -> None:
        """Print each open line of an image's sheet, with what to do; hints stay on the sheet."""
        name = image.master.original_name if image.master else str(image)
        for line in image.ingest_sheet:
            if line.get("state") == "open" and not line.get("is_hint"):
                self.stderr.write(f"{name}: {line['sentence']} {line['remedy']}".rstrip())


def _refuse_bad_files(entries: list[_Entry]) -> None:
    """Read every header before anything is received; exit 1 names each file that cannot be used."""
    problems = []
    for entry in entries:
        try:
            check_incoming(entry.incoming)
        except ImagingError as err:
            problems.append(str(err))
    if problems:
        raise CommandError("\n".join([*problems, "Nothing was received."]), returncode=_FAILURE)


def _file_entries(options: dict[str, Any]) -> list[_Entry]:
    """Return the entries of files that share one slip."""
    if not options["artwork"]:
        raise FieldRefusedError(field="artwork", given="missing", needed="--artwork with the inventory number")
    slip = read_slip({name: options[name] for name in SLIP_FIELDS if options[name] is not None})
    face, person = _place_of(options["artwork"], options["face"], options)
    check_slip(slip, face=face, person=person)
    return [_Entry(_incoming_of(path, options), slip, face, person) for path in options["files"]]


def _table_entries(options: dict[str, Any]) -> list[_Entry]:
    """Return the entries of a table; all bad lines are named together."""
    table: Path = options["table"]
    entries, problems = [], []
    lines = read_image_table(table)
    names = {line.path.name for line in lines}
    for line in lines:
        try:
            entries.append(_table_entry(line, names, options))
        except ImagingError as err:
            problems.append(f"line {line.number}: {err}")
    if problems:
        raise TableRefusedError(table=table.name, problems=problems)
    return entries


def _table_entry(line: TableLine, names: set[str], options: dict[str, Any]) -> _Entry:
    """Return the checked entry of one line."""
    face, person = _place_of(line.artwork, line.face, options)
    is_in_table = Path(line.slip.same_grid_as).name in names
    slip_now = dataclasses.replace(line.slip, same_grid_as="") if is_in_table else line.slip
    check_slip(slip_now, face=face, person=person)
    incoming = _incoming_of(line.path, options)
    check_incoming(incoming)
    return _Entry(incoming, line.slip, face, person)


def _incoming_of(path: Path, options: dict[str, Any]) -> Incoming:
    """Return a file of this machine on its way in."""
    return Incoming(path=path, name=path.name, receipt=Receipt.IN_PLACE if options["in_place"] else Receipt.COPY)


def _place_of(number: str, face: str, options: dict[str, Any]) -> tuple[Face, Person]:
    """Return the face that a picture shows and who brings it in; the face is made when it is new."""
    works = Artwork.objects.filter(inventory_number=number).select_related("study")
    if options["study"]:
        works = works.filter(study__name=options["study"])
    found = list(works)
    if not found:
        known = ", ".join(Artwork.objects.order_by("inventory_number").values_list("inventory_number", flat=True)[:20])
        raise FieldRefusedError(
            field="artwork",
            given=f"{number}, which is not known",
            needed=f"one of {known}" if known else "a work entered in the browser before",
        )
    if len(found) > 1:
        studies = ", ".join(sorted(work.study.name for work in found))
        raise FieldRefusedError(field="study", given="missing", needed=f"--study with one of {studies}")
    return Face.objects.get_or_create(artwork=found[0], kind=face)[0], _person_of(found[0], options["email"])


def _person_of(work: Artwork, email: str | None) -> Person:
    """Return the person who brings pictures in: the named one, else the study's first lead."""
    if email:
        person = Person.objects.filter(email__iexact=email, is_active=True).first()
        if person is None:
            raise FieldRefusedError(field="as", given=email, needed="the e-mail address of an active person")
        return person
    lead = Membership.objects.filter(study=work.study, role=Role.LEAD, person__is_active=True)
    first = lead.select_related("person").order_by("created_at").first()
    if first is None:
        raise FieldRefusedError(field="as", given="missing", needed=f"--as EMAIL, because {work.study} has no lead")
    return first.person
