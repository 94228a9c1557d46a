"""A whole box check through the generated Python: what the phone does, without a phone.

Run by tests/bindings/run, which puts the generated module on the path and names the work folder:
    box_check.py WORK_FOLDER PHOTO [CARD_PHOTO]
PHOTO is any photo to keep. CARD_PHOTO shows a debris card; without it the checks of a reading are skipped, visibly.
"""

import hashlib
import json
import pathlib
import sys
import threading
import traceback

import gritbook as g

from depot_double import DepotDouble, answer

WORK, PHOTO = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])
CARD_PHOTO = pathlib.Path(sys.argv[3]) if len(sys.argv) > 3 else None
# 2026-03-02T07:15:00.250-06:00
NOW_MS, OFFSET_S = 1_772_457_300_250, -6 * 3600

checks = []


def check(function):
    checks.append(function)
    return function


class Skipped(Exception):
    pass


def now(later_s=0):
    return g.Moment(utc_ms=NOW_MS + 1000 * later_s, offset_s=OFFSET_S)


def book(name):
    return g.FieldBook.open(str(WORK / name), "Ana", "phone 1", now())


def pump(name="P1", bore_mm=200.0):
    return g.PumpSpec(
        name=name, bore_mm=bore_mm, stroke_mm=2100.0, drive_bore_mm=130.0, drive_rod_mm=80.0,
        drive_side=g.DriveSide.ROD, seal=g.SealVariant.GUIDE_BAND, fluid=g.BoxFluid.WATER,
        test_switches=g.TestSwitches.TWO, speed_control=g.SpeedControl.VALVE,
    )


def grade(cup, number):
    return g.GradeDraft(part=g.Part.CUP, cup=cup, grade=number, source=g.GradeSource.EYE, criteria=g.criteria_edition())


def draft(pump_id, **more):
    given = {"pump_m3": 18250.0, "photo_paths": [str(PHOTO)], "level_by_eye": g.LevelCode.SOME_SAND,
             "grades": [grade(g.Cup.A, 2), grade(g.Cup.B, 3)], "liquid": g.Liquid.GREY, "liquid_low": True} | more
    return g.BoxCheckDraft(pump_id=pump_id, **given)


def options(**more):
    return g.RunOptions(**({"seed": 7, "pull": True, "now_please": True, "chunk_bytes": 400} | more))


def refused(code, kind, call):
    """`call` must throw `kind` with `code`, and say what to do."""
    try:
        call()
    except kind as error:
        assert error.code == code, f"code {error.code}, expected {code}"
        assert error.reason and error.advice
        return error
    raise AssertionError(f"not refused, expected {code}")


@check
def box_check_is_saved_and_stands_in_log_pump_and_outbox():
    with_book = book("saved")
    pump_id = with_book.add_pump(pump(), now())
    assert with_book.pump_named(" p1 ") == pump_id
    saved = with_book.save_box_check(draft(pump_id), None, now(60))
    assert saved.photos == [hashlib.sha256(PHOTO.read_bytes()).hexdigest()]
    assert pathlib.Path(with_book.photo_path(saved.photos[0])).read_bytes() == PHOTO.read_bytes()

    log = with_book.log(None, 10)
    # Newest first: the grades, the check, the pump.
    assert [entry.id for entry in log[:3]] == [*reversed(saved.grades), saved.check]
    assert [entry.seq for entry in log] == [4, 3, 2, 1]
    entry = log[2]
    assert entry.body.is_box_check() and entry.body.check.photos == saved.photos
    assert entry.body.check.level == g.LevelCode.SOME_SAND and entry.body.check.level_source == g.GradeSource.EYE
    assert (entry.at.utc_ms, entry.at.offset_s) == (NOW_MS + 60_000, OFFSET_S)
    assert entry.sha256 == hashlib.sha256(entry.doc_json.encode()).hexdigest()
    assert log[1].prev_sha256 == entry.sha256
    assert json.loads(entry.doc_json)["body"]["liquid"] == "grey"

    summary = with_book.pump_summary(pump_id)
    assert summary.pump_m3 == 18250.0 and summary.gravest == 3 and summary.waiting == 4
    assert summary.last_check.entry == saved.check and summary.last_check.liquid_low is True
    assert [(one.cup, one.counts) for one in summary.grades] == [(g.Cup.A, 2), (g.Cup.B, 3)]
    things = [item.thing for item in with_book.outbox()]
    assert sum(thing.is_entry() for thing in things) == 4 and sum(thing.is_photo() for thing in things) == 1


@check
def call_is_asked_recorded_and_overruled_only_with_a_reason():
    with_book = book("called")
    pump_id = with_book.add_pump(pump(), now())
    with_book.save_box_check(draft(pump_id, level_by_eye=g.LevelCode.LUMPS), None, now())
    question = g.CallQuestion(next_pour_m3=80.0, pump_m3=None, concrete_bar=None, mix_factor=None)
    answer = with_book.call(pump_id, question, g.assumed_costs(), now(60))
    assert answer.call == g.CallCode.CHANGE_FIRST and answer.hard_stop
    assert answer.sentence.es == "Primero cambie." and answer.reasons[0].code == "lumps"
    assert answer.reasons[0].text and answer.reasons[0].text_es != answer.reasons[0].text
    assert json.loads(answer.document_json)["schema"] == "gritbook.call/1"
    with_book.record_call(pump_id, answer.document_json, None, None, now(70))
    refused("no_reason", g.FieldBookError, lambda: with_book.record_call(pump_id, answer.document_json, g.CallCode.POUR, " ", now(80)))
    refused("bad_document", g.FieldBookError, lambda: with_book.record_call(pump_id, "{}", None, None, now(80)))
    with_book.record_call(pump_id, answer.document_json, g.CallCode.POUR_AND_WATCH, "bored out yesterday", now(90))
    body = json.loads(with_book.log(pump_id, 1)[0].doc_json)["body"]
    assert body["overruled_to"] == "pour_and_watch" and body["answer"]["call"] == "change_first"
    refused("no_lives", g.FieldBookError, lambda: with_book.life(g.Part.CUP))
    found = with_book.diagnose(pump_id)
    assert abs(sum(cause.share for cause in found.causes) - 1) < 1e-9 and found.causes[0].share > found.causes[-1].share
    assert g.SignSeen.LUMPS in [sign.code for sign in found.signs] and found.look_next.es != found.look_next.en
    sound = next(cause for cause in found.causes if cause.cause == g.Cause.SOUND)
    assert g.SignSeen.LUMPS in [sign.code for sign in sound.signs_against] and g.SignSeen.LUMPS not in [sign.code for sign in sound.signs_for]
    # Nobody graded the cups nor measured the bore, and no record tells which cup it is.
    assert any("no grade" in words.en for words in found.cannot_tell) and any("bore" in words.en for words in found.cannot_tell)
    assert "Which of the two cups" in found.cannot_tell[-2].en
    refused("no_such_pump", g.FieldBookError, lambda: with_book.diagnose(g.pump_id_named("unknown")))
    with_book.fitted(pump_id, g.PartFitted(part=g.Part.CUP, cup=g.Cup.A, pump_m3=18250.0, already_in=False, age_m3=None), now(100))
    with_book.poured(pump_id, g.PourMade(pour_m3=80.0, pump_m3=18330.0, concrete_bar=None, mix_factor=None), now(110))
    life = with_book.life(g.Part.CUP)
    assert life.prior_used and life.median_m3 > 0 and len(life.fitted) > 10
    asked = with_book.call(pump_id, question, g.assumed_costs(), now(120))
    with_book.record_call(pump_id, asked.document_json, None, None, now(120))
    with_book.poured(pump_id, g.PourMade(pour_m3=80.0, pump_m3=18410.0, concrete_bar=None, mix_factor=None), now(130))
    break_in = with_book.break_in(pump_id)
    assert [(look.at_m3, look.done, look.due) for look in break_in.looks] == [(1.0, False, True), (100.0, False, True), (300.0, False, False)]
    assert break_in.through_m3 == 160.0
    assert [look.first_pour for look in break_in.looks] == [True, False, False] and len({look.look_for.es for look in break_in.looks}) == 3
    assert [(of.pump_id, of.break_in) for of in with_book.break_ins()] == [(pump_id, break_in)]
    record = with_book.track_record()
    # The first two calls: cups were fitted before their pour came.
    assert (record.forecasts, record.failed, record.without_outcome) == (1, 0, 2)
    assert abs(record.expected - asked.chance_of_failure) < 1e-12 and len(record.bins) == 1
    # One call says nothing about the others.
    assert g.enough_calls() > 1 and record.held is None and record.bins[0].held is None and record.tells_apart is None


@check
def change_out_goes_step_by_step_survives_as_a_document_and_is_recorded_once():
    with_book = book("changed")
    pump_id = with_book.add_pump(pump(), now())
    photo = with_book.keep_photo(str(PHOTO), now())
    state = with_book.begin_change_out(pump_id, [g.Cup.A, g.Cup.B], now())
    assert state.steps[0].key == "manual" and state.first.es and state.marked == 0
    assert {step.caution.signal for step in state.steps if step.hold} >= {g.Signal.DANGER}
    refused("not_this_step", g.FieldBookError, lambda: g.mark_step(state.document_json, "refill", None, [], now()))
    refused("no_reason", g.FieldBookError, lambda: g.mark_step(state.document_json, "manual", "  ", [], now()))
    for number, step in enumerate(state.steps):
        skipped = "no straightedge here" if step.key == "plate_B" else None
        state = g.mark_step(g.change_out_state(state.document_json).document_json, step.key, skipped, [photo] if step.photo else [], now(60 * number))
    assert state.marked == len(state.steps)
    end = g.ChangeOutEnd(pump_m3=18250.0, reasons=[g.RemovalReason.WORN, g.RemovalReason.OTHER_CUP], parts_used="2 cups", note="")
    before = g.take_back_step(state.document_json)
    refused("steps_open", g.FieldBookError, lambda: with_book.finish_change_out(before.document_json, end, now(4000)))
    saved = with_book.finish_change_out(state.document_json, end, now(4000))
    assert len(saved.lives) == 4
    assert with_book.finish_change_out(state.document_json, end, now(4001)).lives == []
    body = with_book.entry(saved.work).body
    assert body.is_changed_out() and body.steps_skipped == 1 and body.photos == [photo]


@check
def check_that_is_saved_again_after_a_crash_is_recorded_once():
    with_book = book("twice")
    pump_id = with_book.add_pump(pump(), now())
    work = g.new_work(now())
    first = with_book.save_box_check(draft(pump_id, work=work), None, now())
    again = with_book.save_box_check(draft(pump_id, work=work), None, now(30))
    assert (again.check, again.grades, again.photos) == (first.check, first.grades, first.photos)
    assert len(with_book.log(pump_id, 100)) == 4
    other = with_book.save_box_check(draft(pump_id, work=g.new_work(now(60))), None, now(60))
    assert other.check != first.check


@check
def figures_cross_in_the_shops_units_and_a_ruler_gives_a_scale():
    assert g.figure(g.Quantity.PRESSURE, 206.842718795, g.UnitSystem.INCH, g.DecimalMark.POINT) == "3000"
    assert g.unit_of(g.Quantity.CONCRETE, g.UnitSystem.INCH) == "yd³"
    assert g.parse_figure(g.Quantity.LENGTH, "0,5", g.UnitSystem.INCH) == 12.7
    refused("not_a_number", g.FieldBookError, lambda: g.parse_figure(g.Quantity.LENGTH, "1,2.3", g.UnitSystem.INCH))
    assert g.px_per_mm_of_ruler(0.0, 0.0, 300.0, 400.0, 50.0) == 10.0
    refused("bad_ruler", g.FieldBookError, lambda: g.px_per_mm_of_ruler(0.0, 0.0, 3.0, 4.0, 50.0))
    assert g.spanish_error("no_card").advice and g.spanish_error("of_a_newer_program") is None
    assert g.part_words(g.Part.GUIDE_BAND).es == "Banda guía"


@check
def enrolment_code_that_was_typed_is_read_and_another_text_is_refused():
    text = json.dumps({"gritbook": "enrolment/1", "depot": "https://depot.example", "name": "phone 1", "token": "abc"})
    secret = bytes(range(32))
    found = g.enrolment_of_payload(text, secret)
    assert (found.depot, found.name, found.token, found.code) == ("https://depot.example", "phone 1", "abc", None)
    refused("not_an_enrolment", g.FieldBookError, lambda: g.enrolment_of_payload("https://depot.example", secret))
    once = json.dumps({"gritbook": "enrolment/2", "depot": "https://depot.example", "name": "phone 1", "code": "abc"})
    kept = g.enrolment_of_payload(once, secret)
    assert (kept.code, len(kept.token)) == ("abc", 64) and kept == g.enrolment_of_payload(once, secret)
    assert kept.token != g.enrolment_of_payload(once, bytes(32)).token
    refused("short_secret", g.FieldBookError, lambda: g.enrolment_of_payload(once, secret[:31]))


@check
def cut_link_pauses_the_queue_and_the_next_run_sends_all_of_it_once():
    with_book, depot = book("sent"), DepotDouble()
    pump_id = with_book.add_pump(pump(), now())
    saved = with_book.save_box_check(draft(pump_id), None, now())
    # The first batch passes, then the link dies in the middle of the photo, after its bytes have arrived.
    depot.troubles = [None, g.TransportError.Cut(reason="no signal"), g.TransportError.Offline(reason="still none")]
    report = with_book.run_outbox(depot, None, options(), now(10))
    assert report.ended.is_paused() and report.ended.trouble.code == "cut", report
    assert with_book.outbox_pause().failures == 1
    # Without a person asking, a run within the pause carries nothing.
    before = len(depot.requests)
    pause_end_s = (report.ended.until_ms - NOW_MS) / 1000
    if pause_end_s > 11:
        with_book.run_outbox(depot, None, options(now_please=False), now(10))
        assert len(depot.requests) == before
    report = with_book.run_outbox(depot, None, options(), now(20))
    assert report.ended.is_paused() and report.ended.trouble.code == "offline", report
    heard = Listener()
    report = with_book.run_outbox(depot, heard, options(), now(3600))
    assert report.ended.is_finished(), report
    assert with_book.outbox() == [] and with_book.outbox_pause() is None
    assert depot.photos() == {saved.photos[0]: PHOTO.read_bytes()}
    assert {entry.sha256 for entry in with_book.log(None, 10)} == set(depot.entries)
    assert any(event.is_photo_sent() and event.photo_id == saved.photos[0] for event in heard.events)
    assert any(event.is_photo_progress() and event.length_bytes == PHOTO.stat().st_size for event in heard.events)
    assert max(request.body.length_bytes for request in depot.requests if request.body.is_file()) == 400
    assert with_book.pump_summary(pump_id).waiting == 0


class Listener(g.OutboxListener):
    def __init__(self):
        self.events = []

    def heard(self, event):
        self.events.append(event)
        raise RuntimeError("a screen that went away must not stop the sending")


@check
def refused_entry_is_parked_with_the_reason_and_goes_again_when_retried():
    with_book, depot = book("parked"), DepotDouble()
    with_book.add_pump(pump(), now())

    def refuse(depot, request):
        made = json.loads(depot.answer(request).body)
        depot.entries.clear()
        for verdict in made["verdicts"]:
            verdict |= {"verdict": "refused", "code": "clock_ahead", "reason": "stamped in the future", "advice": "set the clock"}
        return answer(200, {}, made)

    depot.troubles = [refuse]
    report = with_book.run_outbox(depot, None, options(), now(10))
    assert report.parked == 1 and report.ended.is_finished(), report
    [item] = with_book.outbox()
    assert item.state == g.QueueState.PARKED and item.trouble.code == "clock_ahead"
    with_book.retry_item(item.item)
    assert with_book.run_outbox(depot, None, options(), now(20)).entries_sent == 1
    assert with_book.outbox() == []
    refused("no_such_item", g.FieldBookError, lambda: with_book.retry_item(99))


@check
def exception_of_the_carrier_becomes_our_error_and_everything_stays_queued():
    with_book, depot = book("host"), DepotDouble()
    with_book.add_pump(pump(), now())
    depot.troubles = [ZeroDivisionError("a fault of the shell")]
    error = refused("host_failed", g.FieldBookError.Internal, lambda: with_book.run_outbox(depot, None, options(), now(10)))
    assert "a fault of the shell" in error.reason, error.reason
    assert len(with_book.outbox()) == 1 and not depot.entries
    assert with_book.run_outbox(depot, None, options(), now(20)).ended.is_finished()
    assert len(depot.entries) == 1


@check
def cancelled_run_says_so_and_keeps_the_queue():
    with_book, depot = book("cancelled"), DepotDouble()
    with_book.add_pump(pump(), now())
    depot.troubles = [g.TransportError.Cancelled(reason="the screen was left")]
    assert with_book.run_outbox(depot, None, options(), now(10)).ended.is_cancelled()
    assert len(with_book.outbox()) == 1


@check
def bad_input_is_refused_with_a_code_and_changes_nothing():
    with_book = book("bad")
    pump_id = with_book.add_pump(pump(), now())
    before = with_book.log(None, 10)
    nobody = "01890a5d-ac96-774b-bcce-b302099a8057"
    text = WORK / "no photo.jpg"
    text.write_text("these are words")
    refused("bad_pump_figure", g.FieldBookError.Refused, lambda: with_book.add_pump(pump("P2", bore_mm=20.0), now()))
    refused("pump_exists", g.FieldBookError.Refused, lambda: with_book.add_pump(pump(), now()))
    refused("bad_id", g.FieldBookError.Refused, lambda: with_book.pump_summary("P1"))
    refused("no_such_pump", g.FieldBookError.NotFound, lambda: with_book.save_box_check(draft(nobody), None, now()))
    refused("bad_grade", g.FieldBookError.Refused, lambda: with_book.save_box_check(draft(pump_id, grades=[grade(g.Cup.A, 5)]), None, now()))
    refused("out_of_range", g.FieldBookError.Refused, lambda: with_book.save_box_check(draft(pump_id, pump_m3=float("nan")), None, now()))
    refused("no_such_file", g.FieldBookError, lambda: with_book.save_box_check(draft(pump_id, photo_paths=[str(WORK / "gone.jpg")]), None, now()))
    refused("not_a_photo", g.FieldBookError.Refused, lambda: with_book.save_box_check(draft(pump_id, photo_paths=[str(text)]), None, now()))
    refused("bad_hash", g.FieldBookError.Refused, lambda: with_book.photo_path("12"))
    refused("no_reason", g.FieldBookError.Refused, lambda: with_book.withdraw(before[0].id, " ", now()))
    refused("bad_moment", g.FieldBookError.Refused, lambda: with_book.save_box_check(draft(pump_id), None, g.Moment(utc_ms=0, offset_s=10**6)))
    refused("nothing_poured", g.FieldBookError.Refused, lambda: with_book.poured(pump_id, g.PourMade(pour_m3=None, pump_m3=None, concrete_bar=None, mix_factor=None), now()))
    assert with_book.log(None, 10) == before and len(with_book.outbox()) == 1


@check
def all_kinds_of_entries_cross_and_come_back_from_disk():
    with_book = book("kinds")
    pump_id = with_book.add_pump(pump(), now())
    fitted = g.PartFitted(part=g.Part.CUP, cup=g.Cup.A, pump_m3=0.0, already_in=False, age_m3=None)
    removed = g.PartRemoved(part=g.Part.CUP, cup=g.Cup.A, reason=g.RemovalReason.OTHER_CUP, pump_m3=9000.0)
    measured = g.MeasureTaken(part=g.Part.BORE, cup=g.Cup.B, measure="bore_wear_mm", value=0.35, pump_m3=9000.0)
    poured = g.PourMade(pour_m3=42.5, pump_m3=9042.5, concrete_bar=61.0, mix_factor=1.2)
    photo = with_book.keep_photo(str(PHOTO), now())
    graded = g.GradeGiven(part=g.Part.PLATE, cup=None, grade=1, source=g.GradeSource.MEASURED, criteria="shop",
                          pump_m3=9042.5, photos=[photo], work=None, note="año nuevo")
    ids = [with_book.fitted(pump_id, fitted, now(1)), with_book.removed(pump_id, removed, now(2)),
           with_book.measure(pump_id, measured, now(3)), with_book.poured(pump_id, poured, now(4)),
           with_book.grade(pump_id, graded, now(5))]
    withdrawal = with_book.withdraw(ids[3], "another pump's pour", now(6))
    del with_book
    again = book("kinds")
    assert again.opened() == g.OpenReport(damaged_moved_to=None, adopted_photos=[], strange_files=[])
    bodies = [again.entry(entry_id).body for entry_id in ids]
    assert bodies[0].fitted == fitted and bodies[1].removed == removed and bodies[2].measured == measured
    assert bodies[3].poured == poured and bodies[4].graded == graded
    assert again.entry(withdrawal).body.withdrawn is True
    effective = {entry.entry.id: entry for entry in again.effective(pump_id)}
    assert effective[ids[3]].holds is None and effective[ids[3]].amended_by == [withdrawal]
    assert effective[ids[2]].holds.measured == measured and not effective[ids[2]].clash
    csv = again.history_csv(pump_id)
    assert csv == again.history_csv(None) and ",measured," in csv and ",poured," not in csv


@check
def worn_parts_are_measured_and_their_documents_recorded():
    with_book = book("measured")
    pump_id = with_book.add_pump(pump(), now())
    point = lambda x, y, h: g.PlatePoint(x_mm=x, y_mm=y, height_mm=h)
    plate = g.measure_plate([point(x, y, 0.2) for x in (-80.0, 80.0) for y in (-80.0, 80.0)] + [point(0.0, 0.0, 0.0)], g.usual_plate_settings())
    assert plate.centre == g.Centre.LOW and abs(plate.centre_low_mm - 0.2) < 1e-9 and plate.wear.verdict == g.Verdict.BAD
    assert plate.wear.verdict_words.es == "mal" and len(plate.contacts) >= 4
    gap = lambda line, x, y, mm: g.FeelerReading(line=line, x_mm=x, y_mm=y, gap_mm=mm)
    lines = [gap(1, -80.0, 0.0, 0.0), gap(1, 0.0, 0.0, 0.2), gap(1, 80.0, 0.0, 0.0)]
    lines += [gap(2, 0.0, -80.0, 0.0), gap(2, 0.0, 0.0, 0.2), gap(2, 0.0, 80.0, 0.0)]
    assert abs(g.measure_plate_by_feeler(lines, g.usual_plate_settings()).minimum_zone_mm - 0.2) < 1e-9
    readings = [g.BoreReading(station_mm=100.0, direction_deg=d, diameter_mm=mm) for d, mm in ((0.0, 200.3), (90.0, 200.1))]
    bore = g.measure_bore(readings, g.usual_bore_settings(200.0))
    assert abs(bore.wear_mm - 0.3) < 1e-9 and "lóbulos" in bore.blind_to.es
    assert bore.chrome_left_mm is None and bore.chrome_words is None
    thin = g.measure_thickness(g.ThinPart.CUP_LIP, [10.0, 9.4], 12.0, 8.0, 0.1, g.Before(thickness_mm=11.0, since_m3=2000.0))
    assert thin.least_at == 2 and thin.left_least_m3 > 0
    ring = g.measure_oring(5.0, 192.0, None, 200.0)
    assert abs(ring.squeeze_percent - 20.0) < 1e-9 and ring.fill_percent is None
    bolt = g.measure_bolt("M12", g.BoltGrade.ISO10_9, g.Lubrication.DRY, 95.0)
    assert bolt.torque_nm == 95.0 and bolt.by_maker and bolt.wear.verdict is None
    line = g.measure_line(133.0, 5.9, 85.0, 150.0, 0.1, None, None)
    assert line.wear.taken is None and line.needed_mm < 5.9
    for one, part, measure in ((plate, g.Part.PLATE, "plate_low_centre_mm"), (bore, g.Part.BORE, "bore_wear_mm"), (thin, g.Part.CUP, "cup_lip_mm"),
                               (ring, g.Part.O_RING, "oring_squeeze_percent"), (bolt, g.Part.BOLTS, "bolt_torque_nm")):
        taken = g.measure_of_document(one.wear.document_json, g.Cup.A, 9000.0)
        assert (taken.part, taken.measure) == (part, measure)
        entry = with_book.measure(pump_id, taken, now())
        kept = with_book.entry(entry).body.measured
        assert json.loads(kept.document_json) == json.loads(one.wear.document_json) and kept.cup == g.Cup.A
    taken.value += 1
    refused("bad_document", g.FieldBookError, lambda: with_book.measure(pump_id, taken, now()))
    refused("bad_points", g.FieldBookError, lambda: g.measure_plate_by_feeler(lines[:4], g.usual_plate_settings()))


@check
def a_bore_is_measured_at_the_usual_places_and_saved_once():
    with_book = book("bore")
    pump_id = with_book.add_pump(pump(), now())
    places = g.usual_bore_places(2000.0)
    assert [(place.station_mm, place.direction_deg) for place in places] == [(s, d) for s in (200.0, 1000.0, 1800.0) for d in (0.0, 90.0)]
    assert places[0].station.es == "junto a la caja" and places[1].direction.en == "side to side"
    assert "no published source" in g.bore_places_source().en
    told = g.hand_in_bore()
    assert told.caution.signal == g.Signal.DANGER and "lock on" in told.caution.text.en and "manual" in told.first.es and told.sources
    settings = g.usual_bore_settings(200.0)
    settings.chrome_mm = 0.1
    g.check_bore_settings(settings)
    g.check_bore_diameter(200.3, settings)
    refused("not_this_bore", g.FieldBookError.Refused, lambda: g.check_bore_diameter(7.88, settings))
    refused("bad_setting", g.FieldBookError.Refused, lambda: g.check_bore_settings(g.usual_bore_settings(5.0)))
    readings = [g.BoreReading(station_mm=place.station_mm, direction_deg=place.direction_deg, diameter_mm=200.3) for place in places]
    found = g.measure_bore(readings, settings)
    assert found.chrome_left_mm < 0 and found.chrome_words == g.Words(en="bad", es="mal")
    taken = found.wear.taken
    taken.cup, taken.pump_m3, taken.work = g.Cup.B, 9000.0, g.new_work(now())
    first = with_book.measure(pump_id, taken, now())
    assert with_book.measure(pump_id, taken, now(1)) == first
    kept = with_book.entry(first).body.measured
    assert (kept.work, kept.cup, kept.measure) == (taken.work, g.Cup.B, "bore_wear_mm")
    taken.work = None
    assert with_book.measure(pump_id, taken, now(2)) != first and len(with_book.log(None, 10)) == 3
    assert g.figure(g.Quantity.FINE_LENGTH, 0.31, g.UnitSystem.METRIC, g.DecimalMark.COMMA) == "0,310"


@check
def verify_is_sound_until_a_photo_is_damaged_and_export_reads_without_us():
    with_book = book("verified")
    pump_id = with_book.add_pump(pump(), now())
    saved = with_book.save_box_check(draft(pump_id), None, now())
    report = with_book.verify()
    assert report.sound and report.photos_sound == 1 and report.devices[0].entries == 4
    out = WORK / "verified-out"
    exported = with_book.export(str(out))
    assert (exported.entries, exported.photos) == (4, 1)
    assert len(json.loads((out / "entries.json").read_text())["entries"]) == 4
    refused("not_empty", g.FieldBookError.Refused, lambda: with_book.export(str(out)))
    pathlib.Path(with_book.photo_path(saved.photos[0])).write_bytes(b"worn away")
    report = with_book.verify()
    assert not report.sound and report.photos_damaged == saved.photos


@check
def first_check_of_a_new_pump_adds_it_in_the_same_save():
    with_book = book("new pump")
    new = draft(g.pump_id_named("P9"), new_pump=pump("P9"))
    with_book.save_box_check(new, None, now())
    assert with_book.pump_named("P9") == g.pump_id_named("P9") and len(with_book.log(None, 10)) == 4


@check
def two_threads_share_one_book():
    with_book, failures = book("threads"), []
    pump_id = with_book.add_pump(pump(), now())

    def save(start):
        try:
            for step in range(10):
                with_book.poured(pump_id, g.PourMade(pour_m3=1.0, pump_m3=None, concrete_bar=None, mix_factor=None), now(start + step))
        except Exception as error:  # noqa: BLE001 - handed to the main thread
            failures.append(error)

    threads = [threading.Thread(target=save, args=(start,)) for start in (0, 100)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failures, failures
    assert [entry.seq for entry in with_book.log(None, 100)] == list(range(21, 0, -1))
    assert with_book.verify().sound


@check
def criteria_and_card_are_there_in_both_languages_and_millimetres():
    table = g.grade_criteria()
    assert len(table) == len(g.Part) and all(len(row.grades) == 5 for row in table)
    assert all(words.en and words.es and words.en != words.es for row in table for words in row.grades)
    assert len(g.grade_names()) == 5 and g.criteria_edition() and g.library_version()
    a4, letter = g.card_geometry(g.Paper.A4, 10.0), g.card_geometry(g.Paper.LETTER, 10.0)
    assert (a4.page_mm.width_mm, a4.page_mm.height_mm) == (210.0, 297.0)  # ISO 216
    assert (letter.page_mm.width_mm, letter.page_mm.height_mm) == (215.9, 279.4)
    for geometry in (a4, letter):
        window = geometry.window_mm
        assert len(geometry.marks_mm) == 4 and window.width_mm > 0 and geometry.px_per_mm == 10.0
        upper_left, _, lower_right, _ = geometry.marks_mm
        assert upper_left.left_mm + upper_left.width_mm < window.left_mm
        assert lower_right.top_mm > window.top_mm + window.height_mm


@check
def card_photo_is_read_and_saved_with_the_check_and_its_level_counts():
    if CARD_PHOTO is None:
        raise Skipped("no photo of a debris card in fixtures/photos")
    reading = g.DebrisReading.of_photo(str(CARD_PHOTO), g.ReadingOptions(outlines=True))
    facts = reading.facts()
    assert facts.schema == "gritbook.reading/1" and facts.quality.accepted
    assert facts.photo.sha256 == hashlib.sha256(CARD_PHOTO.read_bytes()).hexdigest()
    assert facts.scale.source == g.ScaleSource.CARD and len(facts.scale.window_corners_px) == 4
    assert facts.grains and all(len(grain.outline_mm) > 2 for grain in facts.grains)
    assert json.loads(facts.method.settings_json)["outlines"] is True
    with_book = book("read")
    pump_id = with_book.add_pump(pump(), now())
    saved = with_book.save_box_check(draft(pump_id, photo_paths=[str(CARD_PHOTO)], level_by_eye=None), reading, now())
    made = with_book.entry(saved.check).body.check
    assert made.level == facts.level.code and made.level_source == g.GradeSource.MEASURED
    assert made.reading.cover_percent == facts.cover_percent and len(made.reading.grains) == len(facts.grains)
    refused("reading_of_other_photo", g.FieldBookError.Refused, lambda: with_book.save_box_check(draft(pump_id), reading, now()))


@check
def grades_with_photos_are_saved_once_and_their_photos_shown_newest_first():
    with_book = book("worn")
    pump_id = with_book.add_pump(pump(), now())
    given = g.GradeDraft(part=g.Part.CUP, cup=g.Cup.A, grade=2, source=g.GradeSource.EYE, criteria=g.criteria_edition(),
                         photo_paths=[str(PHOTO)])
    grading = g.GradesDraft(pump_id=pump_id, pump_m3=900.0, grades=[given, grade(g.Cup.B, 1)], work=g.new_work(now()))
    saved = with_book.save_grades(grading, now(1))
    assert len(saved) == 2 and with_book.save_grades(grading, now(2)) == saved
    [shown] = with_book.wear_photos(pump_id, g.Part.CUP, g.Cup.A, 5)
    assert (shown.grade, shown.pump_m3, shown.at, shown.of_part_before) == (2, 900.0, now(1), False)
    assert pathlib.Path(shown.path).read_bytes() == PHOTO.read_bytes()
    assert with_book.wear_photos(pump_id, g.Part.CUP, g.Cup.B, 5) == []
    refused("no_grades", g.FieldBookError.Refused, lambda: with_book.save_grades(g.GradesDraft(pump_id=pump_id, grades=[]), now()))


@check
def photo_of_a_wear_surface_is_measured_beside_the_last_one_and_never_graded():
    faces = pathlib.Path("fixtures/faces")
    if not (faces / "cup.jpg").exists():
        raise Skipped("no photos of wear surfaces in fixtures/faces")
    look = g.measure_face(str(faces / "cup.jpg"), str(faces / "cup_before.jpg"), None)
    english = [line.en for line in look.lines]
    assert english[0].startswith("Share under grit: ") and "More grit than last time." in english, english
    assert english[-1] == "This measures the photo. You give the grade." and all(line.es for line in look.lines)
    grit = [mark for mark in look.marks if mark.kind == g.FaceMarkKind.GRIT]
    assert len(grit) > 20
    for mark in look.marks:
        xs, ys = mark.outline_px[::2], mark.outline_px[1::2]
        assert len(xs) == len(ys) >= 3 and 0 <= min(xs) and max(xs) <= look.width_px and 0 <= min(ys) and max(ys) <= look.height_px
    refused("no_white", g.ReadingError.NotRead, lambda: g.measure_face(str(faces / "no_white.jpg"), None, None))
    # Bare metal has no colour to be found by: an outline tells where it is.
    bore = str(faces / "bore_scored.jpg")
    refused("no_face", g.ReadingError.NotRead, lambda: g.measure_face(bore, None, None))
    round_it = json.loads((faces / "bore_scored.truth.json").read_text())["outline_px"]
    outlined = g.measure_face(bore, None, None, outline_px=[value for place in round_it for value in place])
    assert g.FaceMarkKind.SCORE in [mark.kind for mark in outlined.marks], outlined.lines
    refused("bad_outline", g.ReadingError.NotRead, lambda: g.measure_face(bore, None, None, outline_px=[1.0, 2.0, 3.0]))
    refused("bad_bar", g.ReadingError.NotRead, lambda: g.measure_face(str(faces / "cup.jpg"), None, 10.0))


@check
def level_limits_of_the_shop_are_checked_used_and_written_into_the_reading():
    usual = g.usual_level_limits()
    g.check_level_limits(usual)
    own = g.LevelLimits(sand_from_mm=usual.sand_from_mm, some_sand_cover_percent=0.1, sand_cover_percent=0.05,
                        lump_mm=usual.lump_mm, coarse_grain_mm=usual.coarse_grain_mm)
    refused("bad_level_limit", g.FieldBookError.Refused, lambda: g.check_level_limits(own))
    if CARD_PHOTO is None:
        raise Skipped("no photo of a debris card in fixtures/photos")
    own = g.LevelLimits(sand_from_mm=0.15, some_sand_cover_percent=99.0, sand_cover_percent=99.0, lump_mm=99.0, coarse_grain_mm=99.0)
    facts = g.DebrisReading.of_photo(str(CARD_PHOTO), g.ReadingOptions(limits=own)).facts()
    assert facts.level.code == g.LevelCode.PASTE_ONLY
    assert json.loads(facts.method.settings_json)["limits"]["lump_mm"] == 99.0


@check
def photo_that_cannot_be_read_is_refused_with_what_was_measured_and_what_to_do():
    refused("too_small", g.ReadingError.NotRead, lambda: g.DebrisReading.of_photo(str(PHOTO), g.ReadingOptions()))
    refused("no_such_file", g.ReadingError.NotRead, lambda: g.DebrisReading.of_photo(str(WORK / "gone.jpg"), g.ReadingOptions()))
    refused("bad_setting", g.ReadingError.NotRead, lambda: g.DebrisReading.of_photo(str(PHOTO), g.ReadingOptions(sample_ml=-1.0)))


@check
def blurred_photo_is_refused_with_the_finding_of_its_gate():
    blurred = CARD_PHOTO.parent / "bad" / "blurred.jpg" if CARD_PHOTO else None
    if blurred is None or not blurred.exists():
        raise Skipped("no fixtures/photos/bad/blurred.jpg")
    error = refused("blurred", g.ReadingError.NotRead, lambda: g.DebrisReading.of_photo(str(blurred), g.ReadingOptions()))
    [finding] = [finding for finding in error.findings if finding.code == "blurred"]
    assert finding.value != finding.limit and finding.advice


def main():
    passed, failed, skipped = 0, 0, 0
    for function in checks:
        name = function.__name__
        try:
            function()
            passed += 1
            print(f"ok      python {name}")
        except Skipped as reason:
            skipped += 1
            print(f"skipped python {name}: {reason}")
        except Exception:  # noqa: BLE001 - any failure is a failed check
            failed += 1
            print(f"FAILED  python {name}")
            traceback.print_exc(file=sys.stdout)
    print(f"python: {passed} passed, {failed} failed, {skipped} skipped")
    return 1 if failed else 0


sys.exit(main())
