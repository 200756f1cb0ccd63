"""What the services promise beyond one request: numbers under a race, notices, history, the index, the carried map."""

from __future__ import annotations

import json
import threading

import psycopg
import pytest
import shapely
from django.db import DatabaseError, connection, connections, transaction

from annotations.models import Annotation
from annotations.services.announcing import ANNOTATION_CHANNEL
from annotations.services.changing import reshape_annotation, reword_annotation, withdraw_annotation
from annotations.services.history import revisions_of
from imaging.errors import EditConflictError, FieldRefusedError
from tests import factories


@pytest.fixture
def annotation(scene):
    return factories.make_annotation(scene.face, scene.people["author"], image=scene.image)


def test_reshaping_moves_the_box_with_the_shape(scene, annotation):
    moved = shapely.box(100.0, 200.0, 110.0, 230.0)
    changed = reshape_annotation(annotation, shape_mm=moved, editor=annotation.author, expected_revision=1)
    assert (changed.min_x_mm, changed.min_y_mm, changed.max_x_mm, changed.max_y_mm) == moved.bounds


def test_rewording_keeps_the_shape(scene, annotation):
    changed = reword_annotation(
        annotation, words={"interpretation": "a split"}, editor=annotation.author, expected_revision=1
    )
    assert bytes(changed.geometry_wkb) == bytes(annotation.geometry_wkb)
    assert (changed.interpretation, changed.observation, changed.revision_number) == ("a split", "a dark line", 2)


def test_words_that_are_no_field_are_refused(annotation):
    with pytest.raises(FieldRefusedError, match="status is not a field of words"):
        reword_annotation(annotation, words={"status": "active"}, editor=annotation.author, expected_revision=1)


def test_an_old_revision_is_refused_by_name(scene, annotation):
    withdraw = {"editor": annotation.author, "expected_revision": 7}
    with pytest.raises(EditConflictError, match=r"Tomaso Brenzi changed this: you began from revision 7, now it is"):
        withdraw_annotation(annotation, **withdraw)


def test_every_write_is_in_the_history_even_one_past_the_services(annotation):
    Annotation.objects.filter(pk=annotation.pk).update(title="by the back door", revision_number=2)
    assert [revision.number for revision in revisions_of(annotation)] == [1, 2]


@pytest.mark.parametrize("verb", ["update", "delete"])
def test_history_itself_cannot_be_changed(annotation, verb):
    events = annotation.events.all()
    with pytest.raises(DatabaseError, match="Cannot update or delete rows"), transaction.atomic():
        events.update(title="never said") if verb == "update" else events.delete()


def plan_of(rows) -> str:
    """Return PostgreSQL's plan when it may not read the whole table."""
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL enable_seqscan = off")
    return str(rows.explain())


def test_a_window_is_answered_by_the_index_on_boxes(annotation):
    rows = Annotation.objects.order_by().within_window(0.0, 0.0, width_mm=50.0, height_mm=50.0)
    assert "annotation_box" in plan_of(rows)
    assert list(rows) == [annotation]


@pytest.mark.django_db(transaction=True)
def test_a_listener_hears_of_a_change_once_it_is_committed(scene):
    settings = connection.get_connection_params()
    names = {name: settings[name] for name in ("dbname", "user", "host", "port") if settings.get(name)}
    with psycopg.connect(**names, autocommit=True) as listener:
        listener.execute(f"LISTEN {ANNOTATION_CHANNEL}")
        with transaction.atomic():
            drawn = factories.make_annotation(scene.face, scene.people["author"])
            assert list(listener.notifies(timeout=0.2)) == []
        reword_annotation(drawn, words={"title": "Split"}, editor=drawn.author, expected_revision=1)
        notices = [json.loads(notice.payload) for notice in listener.notifies(timeout=2, stop_after=2)]
    about = {"face": str(scene.face.pk), "annotation": str(drawn.pk)}
    assert notices == [{**about, "revision": 1}, {**about, "revision": 2}]


@pytest.mark.django_db(transaction=True)
def test_two_people_drawing_at_once_get_two_numbers(scene):
    """Eight threads meet at a barrier; without the lock on the face two of them read the same newest number."""
    start = threading.Barrier(8)
    failures = []

    def draw() -> None:
        try:
            start.wait(timeout=20)
            factories.make_annotation(scene.face, scene.people["author"])
        except (DatabaseError, threading.BrokenBarrierError) as err:
            failures.append(err)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=draw) for _turn in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert sorted(Annotation.objects.values_list("number", flat=True)) == list(range(1, 9))


@pytest.mark.django_db(transaction=True)
def test_of_two_edits_at_once_one_wins_and_the_other_is_told(scene):
    drawn = factories.make_annotation(scene.face, scene.people["author"])
    start, outcomes = threading.Barrier(2), []

    def reword(title: str) -> None:
        try:
            start.wait(timeout=20)
            reword_annotation(drawn, words={"title": title}, editor=drawn.author, expected_revision=1)
            outcomes.append("kept")
        except EditConflictError:
            outcomes.append("told")
        finally:
            connections.close_all()

    threads = [threading.Thread(target=reword, args=[title]) for title in ("one", "two")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(outcomes) == ["kept", "told"]
    assert Annotation.objects.get(pk=drawn.pk).revision_number == 2
