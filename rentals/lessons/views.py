"""Pages of lessons: day and week, a lesson, enrolling, progress, the wind, the roster, and calendars."""

from datetime import date, datetime, timedelta
from typing import Any

from django.contrib import messages
from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from rentals.bookings.forms import RiderRows
from rentals.lessons import queries, services
from rentals.lessons.forms import (
    AbsenceForm,
    CallOffForm,
    CourseForm,
    EnrolForm,
    GroupsForm,
    LessonTimeForm,
    LevelForm,
    MoveForm,
    NewCourseForm,
    PaperForm,
    ShiftForm,
    SkillsForm,
    WindForm,
)
from rentals.lessons.models import Course, Lesson
from rentals.lib import clock
from rentals.lib.access import Act
from rentals.lib.forms import PlainForm, whole_number
from rentals.lib.ical import MEDIA_TYPE, calendar
from rentals.lib.problems import Refused
from rentals.lib.when import day_bounds
from rentals.people import queries as people
from rentals.people.doors import StaffRequest, asked_day, may, station_page
from rentals.people.models import Rider
from rigging import units
from rigging.levels import Level

FEED_MAX_AGE_S = 300
WEEK = timedelta(days=7)
USUAL_WIND = {"low_ms": units.from_knots(6), "high_ms": units.from_knots(14)}
"""Of a beginners' course. Common practice, no source."""


@station_page("GET")
def lessons(request: StaffRequest) -> HttpResponse:
    """Show the lessons of a day or of a week, or hand them out as CSV."""
    now, station = clock.now(), request.station
    day = asked_day(request, station.local(now).date())
    week = request.GET.get("view") == "week"
    first = day - timedelta(days=day.weekday()) if week else day
    last = first + (WEEK if week else timedelta(days=1))
    start, end = day_bounds(first, station.zone)[0], day_bounds(last, station.zone)[0]
    rows = queries.lessons_between(station, start, end)
    if request.GET.get("as") == "csv":
        return queries.lessons_table(rows, station).as_file()
    step = WEEK if week else timedelta(days=1)
    days = [first + timedelta(days=number) for number in range((last - first).days)]
    context = {
        "station": station,
        "page": "lessons",
        "day": first,
        "week": week,
        "days": [(each, [row for row in rows if _day(request, row.lesson) == each]) for each in days],
        "before": first - step,
        "after": first + step,
        "against": sum(bool(row.wind and not row.wind.ok and row.lesson.state == "planned") for row in rows),
    }
    return render(request, "lessons/lessons.html", context)


@station_page("GET", "POST")
def new_course(request: StaffRequest) -> HttpResponse:
    """Plan a course or a single lesson."""
    today = request.station.local(clock.now()).date()
    usual = {"day": asked_day(request, today), "days": 1, "level": "beginner", "seats": 6}
    usual |= {"riders_to_one": 6, "children_to_one": 4, "youngest_years": 8, **USUAL_WIND}
    form = NewCourseForm(request.POST or None, initial=usual)
    if request.method == "POST" and form.is_valid() and (spans := form.spans(request.station.zone)):
        try:
            course = services.plan_course(
                actor=request.actor,
                station_id=request.station.pk,
                facts=form.facts(),
                spans=spans,
                once=form.cleaned_data["once"],
                now=clock.now(),
            )
        except services.UnableToPlanLesson as refused:
            form.refuse(refused)
        else:
            messages.success(request, f"Planned {course.name}.")
            return redirect(f"{reverse('lessons', args=[request.station.slug])}?day={spans[0][0].date()}")
    return _shown(request, "lessons/course.html", form, course=None, others=())


@station_page("GET", "POST")
def course(request: StaffRequest, course_id: int) -> HttpResponse:
    """Change what a course is, or plan another lesson of it."""
    found = Course.objects.filter(station=request.station, pk=course_id).first()
    if found is None:
        raise Http404
    adding = request.POST.get("which") == "lesson"
    form = CourseForm.of(found, None if adding else request.POST or None)
    time = LessonTimeForm(request.POST if adding else None)
    try:
        if adding and time.is_valid() and (span := time.span(request.station.zone)):
            services.add_lesson(
                actor=request.actor, course_id=found.pk, starts_at=span[0], ends_at=span[1],
                once=time.cleaned_data["once"], now=clock.now(),
            )  # fmt: skip
            return _done(request, "Planned another lesson.", "course", found.pk)
        if request.method == "POST" and not adding and form.is_valid():
            services.change_course(
                actor=request.actor, course_id=found.pk, facts=form.facts(), now=clock.now()
            )
            return _done(request, "Saved.", "course", found.pk)
    except services.UnableToPlanLesson as refused:
        (time if adding else form).refuse(refused)
    others = Lesson.objects.filter(course=found).order_by("starts_at", "id")
    return _shown(request, "lessons/course.html", form, time=time, course=found, others=list(others))


@station_page("GET", "POST")
def lesson(request: StaffRequest, lesson_id: int) -> HttpResponse:
    """Show a lesson; move it, call it off, or put its students into groups."""
    found = queries.lesson_for(request.actor, request.station, lesson_id)
    sheet = queries.sheet(found, request.station)
    if request.GET.get("as") == "csv":
        return queries.students_table(sheet).as_file()
    which, data = request.POST.get("which"), request.POST
    move = MoveForm.of(found, request.station, data if which == "move" else None)
    off = CallOffForm(data if which == "off" else None, initial={"moves": found.moves})
    groups = GroupsForm(sheet.pupils, data if which == "groups" else None)
    forms: dict[str, PlainForm] = {"move": move, "off": off, "groups": groups}
    if which in ("move", "off") and (moved := _changed(request, found, move, off)):
        return _done(request, moved, "lesson", found.pk)
    if which == "groups" and groups.is_valid() and _grouped(request, found, groups):
        return _done(request, "Groups are set.", "lesson", found.pk)
    candidates = queries.candidates(found, request.station)
    context = {
        "station": request.station,
        "page": "lessons",
        "sheet": sheet,
        "row": sheet.row,
        "lesson": found,
        "free": [each for each in candidates if not each.why_not],
        "not_free": [each for each in candidates if each.why_not],
        "over": found.ends_at <= clock.now(),
        "forms": forms.items(),
        **forms,
    }
    wrong = any(form.errors for form in forms.values())
    return render(request, "lessons/lesson.html", context, status=422 if wrong else 200)


@station_page("GET", "POST")
def enrol(request: StaffRequest, lesson_id: int) -> HttpResponse:
    """Enrol riders; what was typed stays when the last seat has gone meanwhile."""
    found = queries.lesson_for(request.actor, request.station, lesson_id)
    more = "more" in request.POST
    form, rows = EnrolForm(request.POST or None), RiderRows(request.POST or None, more=more)
    if request.method == "POST" and not more and _enrolled(request, found, form, rows):
        return redirect("lesson", request.station.slug, found.pk)
    (row,) = queries.rows_of([found], request.station)
    wrong = rows.bound and bool(form.errors or rows.errors)
    context = {
        "station": request.station,
        "page": "lessons",
        "lesson": found,
        "row": row,
        "form": form,
        "rows": rows,
        "wrong": wrong,
        "known": people.rider_choices(request.actor, request.station),
    }
    return render(request, "lessons/enrol.html", context, status=422 if wrong else 200)


@station_page("POST")
def assign(request: StaffRequest, lesson_id: int) -> HttpResponse:
    """Give somebody the lesson."""
    who, _, duty = request.POST.get("who", "").partition(".")
    services.assign(
        actor=request.actor,
        lesson_id=lesson_id,
        user_id=whole_number(who) or 0,
        duty=duty,
        now=clock.now(),
    )
    return redirect("lesson", request.station.slug, lesson_id)


@station_page("POST")
def release(request: StaffRequest, lesson_id: int, assignment_id: int) -> HttpResponse:
    """Take somebody out of the lesson."""
    services.release(actor=request.actor, assignment_id=assignment_id, now=clock.now())
    return redirect("lesson", request.station.slug, lesson_id)


@station_page("POST")
def told(request: StaffRequest, lesson_id: int, notice_id: int) -> HttpResponse:
    """Note that a party was told by phone."""
    services.note_told(actor=request.actor, notice_id=notice_id, now=clock.now())
    return redirect("lesson", request.station.slug, lesson_id)


@station_page("GET", "POST")
def progress(request: StaffRequest, rider_id: int) -> HttpResponse:
    """Show what a rider can do; tick what was seen, or give the word for another level."""
    rider = Rider.objects.visible_to(request.actor).filter(station=request.station, pk=rider_id).first()
    if rider is None:
        raise Http404
    story = queries.progress_of(rider)
    which, level = request.POST.get("which"), _asked_level(request, rider)
    ticks = SkillsForm(level, story.seen, request.POST if which == "skills" else None)
    word = LevelForm.of(rider, request.POST if which == "level" else None)
    if which == "skills" and ticks.is_valid() and _noted(request, rider, ticks):
        return redirect(request.get_full_path())
    if which == "level" and word.is_valid() and _levelled(request, rider, word):
        return _done(request, f"{rider} is {word.cleaned_data['level']} now.", "progress", rider.pk)
    context = {
        "station": request.station,
        "page": "lessons",
        "rider": rider,
        "story": story,
        "ticks": ticks,
        "word": word,
        "level": level.value,
        "levels": [each.value for each in Level],
        "lesson_id": _asked_lesson(request),
        "may_teach": may(request, Act.TEACH),
    }
    return render(
        request, "lessons/progress.html", context, status=422 if ticks.errors or word.errors else 200
    )


@station_page("GET", "POST")
def wind(request: StaffRequest) -> HttpResponse:
    """Show lessons that the forecast speaks against, and do what was decided in one step."""
    found = queries.wind_proposals(request.station, now=clock.now())
    form = WindForm(found, request.station, request.POST if request.method == "POST" else None)
    if request.method == "POST" and form.is_valid():
        try:
            changed = services.change_lessons(
                actor=request.actor, station_id=request.station.pk, changes=form.changes(), now=clock.now()
            )
        except Refused as refused:
            form.add_error(None, refused.sentence)
        else:
            messages.success(request, f"{len(changed)} changed; everyone with an address gets a letter.")
            return redirect("lessons", request.station.slug)
    return _shown(request, "lessons/wind.html", form)


@station_page("GET", "POST")
def roster(request: StaffRequest) -> HttpResponse:
    """Show the roster's week; the manager changes it."""
    station, today = request.station, request.station.local(clock.now()).date()
    day = asked_day(request, today)
    first = day - timedelta(days=day.weekday())
    week = queries.roster(station, first, today=today)
    if request.GET.get("as") == "csv":
        return queries.roster_table(week).as_file()
    staff, which, data = [row.user for row in week.staff], request.POST.get("which"), request.POST
    usual = {"day": max(first, today), "first": today, "last": today, "days": 1, "since": today}
    usual |= {"starts_at": f"{station.opens:%H:%M}", "ends_at": f"{station.closes:%H:%M}"}
    shift = ShiftForm(staff, data if which == "shift" else None, initial=usual)
    absence = AbsenceForm(staff, data if which == "absence" else None, initial=usual)
    paper = PaperForm(staff, data if which == "paper" else None, initial=usual)
    if which and (saved := _rostered(request, which, shift, absence, paper)):
        messages.success(request, saved)
        return redirect(request.get_full_path())
    forms: tuple[PlainForm, ...] = (shift, absence, paper)
    context = {
        "station": station,
        "page": "lessons",
        "roster": week,
        "shift": shift,
        "absence": absence,
        "paper": paper,
        "wrong": any(form.errors for form in forms),
        "before": first - WEEK,
        "after": first + WEEK,
        "may_set": may(request, Act.SET_ROSTER),
    }
    return render(request, "lessons/roster.html", context, status=422 if context["wrong"] else 200)


@station_page("POST")
def drop_shift(request: StaffRequest, shift_id: int) -> HttpResponse:
    """Take a shift off the roster."""
    services.drop_shift(actor=request.actor, shift_id=shift_id, now=clock.now())
    return redirect("roster", request.station.slug)


@station_page("POST")
def end_absence(request: StaffRequest, absence_id: int) -> HttpResponse:
    """Take an absence back."""
    services.end_absence(actor=request.actor, absence_id=absence_id, now=clock.now())
    return redirect("roster", request.station.slug)


@station_page("POST")
def make_feed(request: StaffRequest) -> HttpResponse:
    """Make a calendar address and show it once: the page is the answer to the click, nothing keeps it."""
    who = request.POST.get("user", "")
    made = services.make_feed(
        actor=request.actor,
        station_id=request.station.pk,
        user_id=whole_number(who),
        now=clock.now(),
    )
    address = request.build_absolute_uri(reverse("calendar", args=[made.token]))
    context = {"station": request.station, "page": "lessons", "made": made, "address": address}
    answer = render(request, "lessons/feed.html", context)
    answer["Cache-Control"] = "no-store"
    return answer


@station_page("POST")
def revoke_feed(request: StaffRequest, feed_id: int) -> HttpResponse:
    """Let a calendar address stop working."""
    services.revoke_feed(actor=request.actor, feed_id=feed_id, now=clock.now())
    return _done(request, "That calendar address no longer works.", "roster")


@login_not_required
@require_safe
def feed(request: HttpRequest, token: str) -> HttpResponse:
    """Answer with the calendar at a secret address; one that was revoked looks as if it had never been."""
    found = queries.told(token, now=clock.now())
    if found is None:
        raise Http404
    answer = HttpResponse(calendar(found.happenings, name=found.name), content_type=MEDIA_TYPE)
    answer["Cache-Control"] = f"private, max-age={FEED_MAX_AGE_S}"
    answer["X-Robots-Tag"] = "noindex"
    return answer


def _changed(request: StaffRequest, found: Lesson, move: MoveForm, off: CallOffForm) -> str:
    """Move the lesson or call it off; return what was done, or nothing where it was refused."""
    form: MoveForm | CallOffForm = move if move.is_bound else off
    span = None
    if not form.is_valid() or (move.is_bound and (span := move.span(request.station.zone)) is None):
        return ""
    change = services.Change(
        lesson_id=found.pk,
        moves=form.cleaned_data["moves"],
        why=form.cleaned_data["why" if move.is_bound else "off_why"],
        starts_at=span[0] if span else None,
        ends_at=span[1] if span else None,
    )
    try:
        services.change_lessons(
            actor=request.actor, station_id=request.station.pk, changes=[change], now=clock.now()
        )
    except Refused as refused:
        form.refuse(refused, names=CallOffForm.names if off.is_bound else None)
        return ""
    return "Moved; everyone is told." if span else "Called off; everyone is told."


def _grouped(request: StaffRequest, found: Lesson, form: GroupsForm) -> bool:
    try:
        services.set_groups(actor=request.actor, lesson_id=found.pk, groups=form.groups(), now=clock.now())
    except services.UnableToPlanLesson as refused:
        form.refuse(refused)
        return False
    return True


def _enrolled(request: StaffRequest, found: Lesson, form: EnrolForm, rows: RiderRows) -> bool:
    """Enrol when everything holds together; otherwise say beside each field why not."""
    whole, rows_whole = form.is_valid(), rows.is_valid()
    if not (whole and rows_whole):
        return False
    try:
        services.enrol(
            actor=request.actor,
            lesson_id=found.pk,
            contact=form.contact(),
            riders=rows.riders(),
            language=form.cleaned_data["language"],
            note=form.cleaned_data["note"],
            once=form.cleaned_data["once"],
            now=clock.now(),
        )
    except Refused as refused:
        if not rows.refuse(refused):
            form.refuse(refused)
        return False
    messages.success(request, f"Enrolled {len(rows.filled)} for {form.cleaned_data['contact_name']}.")
    return True


def _noted(request: StaffRequest, rider: Rider, form: SkillsForm) -> bool:
    try:
        lines = services.note_progress(
            actor=request.actor,
            rider_id=rider.pk,
            shown=form.shown,
            seen=form.ticked,
            lesson_id=_asked_lesson(request),
            now=clock.now(),
        )
    except services.UnableToNoteProgress as refused:
        form.refuse(refused)
        return False
    messages.success(request, f"Kept {len(lines)} for {rider}." if lines else "Nothing new was ticked.")
    return True


def _levelled(request: StaffRequest, rider: Rider, form: LevelForm) -> bool:
    try:
        services.change_level(
            actor=request.actor,
            rider_id=rider.pk,
            seen_level=form.cleaned_data["seen_level"],
            level=form.cleaned_data["level"],
            why=form.cleaned_data["why"],
            lesson_id=_asked_lesson(request),
            now=clock.now(),
        )
    except services.UnableToNoteProgress as refused:
        form.refuse(refused)
        return False
    return True


def _rostered(
    request: StaffRequest, which: str, shift: ShiftForm, absence: AbsenceForm, paper: PaperForm
) -> str:
    """Do what one of the roster's forms asks; return what was done, or nothing where it was refused."""
    asked: dict[str, Any] = {"actor": request.actor, "station_id": request.station.pk, "now": clock.now()}
    form = {"shift": shift, "absence": absence, "paper": paper}.get(which, shift)
    try:
        if which == "shift" and shift.is_valid() and (spans := shift.spans(request.station.zone)):
            services.roster_shifts(
                user_id=shift.user_id, duty=shift.cleaned_data["duty"], spans=spans, **asked
            )
            return "On the roster."
        if which == "absence" and absence.is_valid():
            start, end = absence.span(request.station)
            _absence, lost = services.note_absence(
                user_id=absence.user_id,
                why=absence.cleaned_data["why"],
                starts_at=start,
                ends_at=end,
                **asked,
            )
            return f"Noted. {len(lost)} lessons need somebody else." if lost else "Noted."
        if which == "paper" and paper.is_valid():
            services.keep_paper(user_id=paper.user_id, facts=paper.facts(), **asked)
            return "Kept."
    except Refused as refused:
        form.refuse(refused, names=AbsenceForm.names if which == "absence" else None)
    return ""


def _asked_level(request: StaffRequest, rider: Rider) -> Level:
    """The level whose skills are asked for; the rider's own where the address names none."""
    name = request.GET.get("level", "")
    return Level(name) if name in list(Level) else Level(rider.level)


def _asked_lesson(request: StaffRequest) -> int | None:
    return whole_number(request.GET.get("lesson", ""))


def _day(request: StaffRequest, found: Lesson) -> date:
    moment: datetime = request.station.local(found.starts_at)
    return moment.date()


def _shown(request: StaffRequest, template: str, form: PlainForm, **more: object) -> HttpResponse:
    wrong = bool(form.errors) or any(bool(getattr(each, "errors", ())) for each in more.values())
    context = {"station": request.station, "page": "lessons", "form": form, "wrong": wrong, **more}
    return render(request, template, context, status=422 if wrong else 200)


def _done(request: StaffRequest, said: str, page: str, *args: object) -> HttpResponse:
    messages.success(request, said)
    return redirect(page, request.station.slug, *args)
