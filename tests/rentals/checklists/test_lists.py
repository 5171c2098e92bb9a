"""Check lists: edited in versions, a logged check keeps its wording, a stale form keeps its ticks."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

import pytest
from django.urls import reverse

from rentals.afloat.models import LaunchCheck
from rentals.afloat.services import ListChanged, UnableToLaunch
from rentals.checklists import queries, services
from rentals.checklists.models import CheckList
from rentals.checklists.services import ListMovedOn, UnableToKeepList, Written
from rentals.lib import clock
from rigging import checks
from tests.rentals.browser import Form, protected, signed_in
from tests.rentals.walk import Walk

HULL = "board.hull"


@pytest.fixture(autouse=True)
def _at(now: datetime, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "now", lambda: now)


def written(cast: Walk, **reworded: str) -> list[Written]:
    """The list in force as it would be sent back, some lines reworded by key with dots as underscores."""
    words = {key.replace("_", "."): text for key, text in reworded.items()}
    listed = queries.in_force(cast.tarrow, "launch")
    return [
        Written(key=line.key, kind=line.kind, text=words.get(line.key, line.text), levels=line.levels)
        for line in listed.lines
        if words.get(line.key) != ""
    ]


def kept(cast: Walk, lines: Sequence[Written], *, version: int = 0, **other: Any) -> CheckList:
    usual: dict[str, Any] = {"actor": cast.boss, "station_id": cast.tarrow.pk, "check": "launch"}
    return services.keep_list(lines=lines, version=version, now=cast.now, **(usual | other))


class TestTheUsualList:
    def test_it_is_in_force_until_a_station_edits_it(self, cast: Walk) -> None:
        listed = queries.in_force(cast.tarrow, "launch")

        assert listed.version == 0
        assert listed.points(["sail", "buoyancy_aid"], "advanced") == checks.checklist(
            ["sail", "buoyancy aid"]
        )

    def test_another_station_keeps_it(self, cast: Walk) -> None:
        kept(cast, written(cast, board_hull="Hull dry inside"))

        assert queries.in_force(cast.kettle, "launch").version == 0


class TestVersions:
    def test_an_edit_is_the_next_one_and_the_one_before_stays(self, cast: Walk) -> None:
        kept(cast, written(cast, board_hull="Hull dry inside"))
        kept(cast, written(cast, board_hull="Hull sound when knocked"), version=1)

        texts = [
            {line["key"]: line["text"] for line in row.lines}[HULL]
            for row in CheckList.objects.order_by("version")
        ]
        assert texts == ["Hull dry inside", "Hull sound when knocked"]

    def test_a_line_for_some_levels_is_asked_of_them_only(self, cast: Walk) -> None:
        lines = [*written(cast), Written(kind="rider", text="Has tried self-rescue", levels=("improver",))]
        kept(cast, lines)
        listed = queries.in_force(cast.tarrow, "launch")

        assert "Has tried self-rescue" in dict(listed.points([], "improver")).values()
        assert "Has tried self-rescue" not in dict(listed.points([], "expert")).values()

    def test_a_new_line_gets_a_key_that_no_earlier_line_had(self, cast: Walk) -> None:
        first = kept(cast, [*written(cast), Written(kind="rider", text="Knows the reef")])
        gone = first.lines[-1]["key"]
        kept(cast, [line for line in written(cast) if line.key != gone], version=1)
        third = kept(cast, [*written(cast), Written(kind="rider", text="Knows the tide")], version=2)

        assert third.lines[-1]["key"] != gone

    def test_of_two_who_edit_the_same_version_the_second_is_told(self, cast: Walk) -> None:
        mine, yours = written(cast, board_hull="Hull dry"), written(cast, board_hull="Hull clean")
        kept(cast, mine)

        with pytest.raises(ListMovedOn, match="Maud Manager made version 1"):
            kept(cast, yours)

    @pytest.mark.parametrize(
        ("lines", "said"),
        [
            ([Written(kind="rider", text=" ")], "Enter what to look at"),
            ([Written(kind="rider", text="x" * 201)], "at most 200"),
            ([Written(kind="kite", text="Lines")], "Choose one of"),
            ([Written(kind="rider", text="Well", levels=("wizard",))], "Choose among"),
            ([Written(kind="rider", text="Well", key="rider.new")], "not in the list"),
            ([Written(kind="sail", text="Whole")], "at least one line about the rider"),
            ([Written(kind="rider", text="Well")] * 121, "at most 120 lines"),
            ([Written(kind="rider", text="Well", key="rider.well")] * 2, "twice"),
        ],
        ids=["empty", "long", "kind", "level", "key", "no rider", "many", "twice"],
    )
    def test_a_list_that_does_not_hold_together_is_refused(
        self, cast: Walk, lines: list[Written], said: str
    ) -> None:
        with pytest.raises(UnableToKeepList) as refusal:
            kept(cast, lines)

        assert said in " ".join(refusal.value.fields.values())

    def test_one_that_changes_nothing_is_refused(self, cast: Walk) -> None:
        with pytest.raises(UnableToKeepList, match="Nothing differs"):
            kept(cast, written(cast))


class TestALaunchCheck:
    def test_it_keeps_the_wording_and_the_version_it_was_made_against(self, cast: Walk) -> None:
        kept(cast, written(cast, board_hull="Hull dry inside"))
        check = cast.look_over(cast.issued())
        kept(cast, written(cast, board_hull="Hull sound when knocked"), version=1)

        point = {each["key"]: each for each in LaunchCheck.objects.get(pk=check.pk).points}[HULL]
        assert (point["text"], point["version"]) == ("Hull dry inside", 1)

    def test_a_line_added_by_the_station_keeps_the_rider_ashore_until_it_is_ticked(self, cast: Walk) -> None:
        kept(cast, [*written(cast), Written(kind="rider", text="Knows the reef")])
        outing = cast.issued()

        assert not cast.look_over(outing).passed

    def test_one_gone_through_on_an_older_list_is_refused(self, cast: Walk) -> None:
        outing = cast.issued()
        kept(cast, written(cast, board_hull="Hull dry inside"))

        with pytest.raises(ListChanged, match="version 1 now, you went through version 0"):
            cast.look_over(outing, list_version=0)
        assert not LaunchCheck.objects.exists()

    def test_after_the_list_changed_a_cleared_rider_is_looked_over_again(self, cast: Walk) -> None:
        outing = cast.cleared()
        kept(cast, [*written(cast), Written(kind="rider", text="Knows the reef")])

        with pytest.raises(UnableToLaunch, match="Knows the reef"):
            cast.launch(outing)

    def test_a_stale_form_is_told_so_keeps_its_ticks_and_marks_what_is_new(self, cast: Walk) -> None:
        outing = cast.issued()
        client = signed_in(cast.instructor)
        address = reverse("launch-check", args=[cast.tarrow.slug, outing.pk])
        form = Form(client.get(address))
        sent = {name: form.value(name) for name in ("once", "kit_no", "list_version")}
        kept(cast, written(cast, board_hull="Hull dry inside"))

        answer = client.post(address, {**sent, "point.board.straps": "on", "point.board.hull": "on"})

        again = Form(answer)
        assert (answer.status_code, again.value("list_version")) == (422, "1")
        assert "Your ticks are kept" in again.summary
        assert again.ticked("point.board.straps")
        assert answer.content.decode().count("New or reworded just now") == 1
        assert not LaunchCheck.objects.exists()


class TestAReturnCheck:
    def test_its_page_shows_the_station_s_own_list_beside_each_part(self, cast: Walk) -> None:
        usual = queries.in_force(cast.tarrow, "return")
        lines = [
            Written(
                kind=line.kind, key=line.key, text=line.text.replace("No crack", "No crack at the ferrule")
            )
            for line in usual.lines
        ]
        kept(cast, [*lines, Written(kind="rider", text="Asked about the reef")], check="return")
        outing = cast.out()

        page = Form(
            signed_in(cast.desk).get(reverse("return-check", args=[cast.tarrow.slug, outing.pk]))
        ).page

        mast = next(box for box in page.find_all("fieldset") if "mast:" in box.get_text())
        assert "No crack at the ferrule" in mast.get_text()
        assert "Asked about the reef" in page.get_text()
        assert "version 1" in page.get_text()

    def test_a_line_for_other_levels_is_left_out(self, cast: Walk) -> None:
        lines = [Written(kind="rider", text="Seen by the group's instructor", levels=("beginner",))]
        usual = queries.in_force(cast.tarrow, "return").lines
        lines += [Written(kind=line.kind, key=line.key, text=line.text) for line in usual]
        kept(cast, lines, check="return")
        outing = cast.out()  # Wren, advanced

        answer = signed_in(cast.desk).get(reverse("return-check", args=[cast.tarrow.slug, outing.pk]))

        assert "Seen by the group" not in answer.content.decode()


class TestThePage:
    def address(self, cast: Walk, check: str = "launch") -> str:
        return reverse("check-list", args=[cast.tarrow.slug, check])

    def sent(self, page: Form, **other: str) -> dict[str, str]:
        fields = page.page.select("main input[type=text], main textarea")
        names = [str(each["name"]) for each in fields]
        return {name: page.value(name) for name in names} | {"version": "0"} | other

    def test_a_manager_looks_first_and_then_keeps_it(self, cast: Walk) -> None:
        client = signed_in(cast.manager)
        sent = self.sent(Form(client.get(self.address(cast))), text_new0="Knows the reef")

        look = client.post(self.address(cast), {**sent, "kind_new0": "rider", "look": "1"})
        assert "As it would read" in look.content.decode()
        assert not CheckList.objects.exists()

        client.post(self.address(cast), {**sent, "kind_new0": "rider", "keep": "1", "why": "The reef"})
        assert CheckList.objects.get().lines[-1]["text"] == "Knows the reef"
        assert "The reef" in client.get(self.address(cast)).content.decode()

    @pytest.mark.parametrize("check", ["launch", "return"])
    def test_every_input_is_named_in_words_and_none_by_its_key(self, cast: Walk, check: str) -> None:
        form = Form(signed_in(cast.manager).get(self.address(cast, check)))
        labels = [each.get_text() for each in form.page.find_all("label")]

        assert {"Board, line 1", "Rider, line 1", "New line 1"} <= set(labels)
        assert [key for key in (line.key for line in queries.usual(check).lines) if key in labels] == []

    def test_an_emptied_line_goes(self, cast: Walk) -> None:
        client = signed_in(cast.manager)
        sent = self.sent(Form(client.get(self.address(cast))), text_0="")
        client.post(self.address(cast), {**sent, "keep": "1"})

        assert "sail.panels" not in {line["key"] for line in CheckList.objects.get().lines}

    def test_a_refusal_keeps_what_was_typed(self, cast: Walk) -> None:
        client = signed_in(cast.manager)
        sent = self.sent(Form(client.get(self.address(cast))), why="No change at all")
        answer = client.post(self.address(cast), {**sent, "keep": "1"})

        assert (answer.status_code, Form(answer).value("why")) == (422, "No change at all")

    @pytest.mark.parametrize("check", ["launch", "return"])
    def test_others_read_it_and_are_told_who_edits(self, cast: Walk, check: str) -> None:
        answer = signed_in(cast.instructor).get(self.address(cast, check))

        assert "A manager edits it." in answer.content.decode()
        protected(answer.headers)

    def test_there_is_no_other_list(self, cast: Walk) -> None:
        assert signed_in(cast.manager).get(self.address(cast, "dive")).status_code == 404

    def test_to_a_stranger_it_does_not_exist(self, cast: Walk) -> None:
        assert signed_in(cast.neighbour).get(self.address(cast)).status_code == 404
