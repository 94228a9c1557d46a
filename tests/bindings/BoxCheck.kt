/*
 * The box check through the generated Kotlin on a JVM: what only Kotlin can show (names, unsigned numbers, exceptions, a carrier
 * written in Kotlin, closing). The rest is in box_check.py. Arguments: work folder, a photo.
 */
package gritbook.boxcheck

import gritbook.core.*
import java.io.File
import java.security.MessageDigest
import kotlin.system.exitProcess

private val startMs = 1_772_457_300_250L // 2026-03-02T07:15:00.250-06:00

private fun now(laterS: Long = 0) = Moment(utcMs = startMs + 1000 * laterS, offsetS = -6 * 3600)

private fun options(nowPlease: Boolean = true) = RunOptions(seed = 7uL, pull = false, nowPlease = nowPlease)

private fun spec(boreMm: Double = 200.0) = PumpSpec(
    name = "Bomba Ñ", boreMm = boreMm, strokeMm = 2100.0, driveBoreMm = 130.0, driveRodMm = 80.0,
    driveSide = DriveSide.ROD, seal = SealVariant.O_RING, fluid = BoxFluid.OIL, testSwitches = TestSwitches.ONE, speedControl = SpeedControl.ELECTRIC,
)

private fun sha256(bytes: ByteArray) = MessageDigest.getInstance("SHA-256").digest(bytes).joinToString("") { "%02x".format(it) }

private fun <T> same(what: String, found: T, expected: T) = check(found == expected) { "$what: found $found, expected $expected" }

private inline fun <reified E : FieldBookException> refused(code: String, call: () -> Unit) {
    val thrown = try {
        call()
        null
    } catch (error: FieldBookException) {
        error
    }
    check(thrown is E) { "expected ${E::class.simpleName} $code, found $thrown" }
    val found = when (thrown) {
        is FieldBookException.Refused -> thrown.code
        is FieldBookException.NotFound -> thrown.code
        is FieldBookException.StorageFull -> thrown.code
        is FieldBookException.NewerSchema -> thrown.code
        is FieldBookException.Corrupt -> thrown.code
        is FieldBookException.Storage -> thrown.code
        is FieldBookException.Depot -> thrown.code
        is FieldBookException.Internal -> thrown.code
    }
    same("code", found, code)
}

/** Carries nothing: throws what it is told to, one after the other, then says that the depot is busy. */
private class Carrier(private vararg val troubles: Exception) : Transport {
    val requests = mutableListOf<Request>()

    override fun carry(request: Request): Answer {
        requests += request
        if (requests.size <= troubles.size) throw troubles[requests.size - 1]
        return Answer(status = 503u, headers = listOf(Header("retry-after", "120")), body = ByteArray(0))
    }
}

private fun draft(pumpId: String, photo: File) = BoxCheckDraft(
    pumpId = pumpId, pumpM3 = 18250.0, photoPaths = listOf(photo.path), levelByEye = LevelCode.SAND,
    grades = listOf(GradeDraft(Part.CUP, Cup.A, 2u, GradeSource.EYE, criteriaEdition())), note = "año, señal débil",
)

fun main(arguments: Array<String>) {
    val (work, photo) = arguments.map(::File)
    val checks = listOf<Pair<String, (File) -> Unit>>(
        "box_check_is_saved_and_read_back_after_reopening" to { folder ->
            val saved = FieldBook.open(folder.path, "Íñigo", "phone 1", now()).use { book ->
                book.saveBoxCheck(draft(book.addPump(spec(), now()), photo), null, now(60))
            }
            same("photo id", saved.photos, listOf(sha256(photo.readBytes())))
            FieldBook.open(folder.path, "Íñigo", "", now()).use { book ->
                val entry = book.entry(saved.check)
                val body = entry.body as EntryBody.BoxCheck
                same("person", entry.person, "Íñigo")
                same("note", body.check.note, "año, señal débil")
                same("level", body.check.level, LevelCode.SAND)
                same("moment", entry.at, now(60))
                same("seal", entry.sha256, sha256(entry.docJson.toByteArray()))
                same("name", book.pumps().single().spec.name, "Bomba Ñ")
                same("gravest", book.pumps().single().gravest, 2.toUByte())
                same("device", book.deviceName(), "phone 1")
            }
        },
        "graded_with_a_photo_then_it_is_shown_again_with_its_grade" to { folder ->
            FieldBook.open(folder.path, "Ana", "phone 1", now()).use { book ->
                val pump = book.addPump(spec(), now())
                val given = GradeDraft(Part.CUP, Cup.A, 2u, GradeSource.EYE, criteriaEdition(), listOf(photo.path))
                book.saveGrades(GradesDraft(pump, 900.0, listOf(given)), now(10))
                val shown = book.wearPhotos(pump, Part.CUP, Cup.A, 5u).single()
                same("photo", shown.photo, sha256(photo.readBytes()))
                same("grade", shown.grade, 2.toUByte())
                same("total", shown.pumpM3, 900.0)
                checkLevelLimits(usualLevelLimits())
            }
        },
        "box_with_sand_is_diagnosed_and_a_book_without_calls_has_no_record_yet" to { folder ->
            FieldBook.open(folder.path, "Ana", "phone 1", now()).use { book ->
                val pump = book.addPump(spec(), now())
                refused<FieldBookException.Refused>("unknown_pump") { book.diagnose(pump) }
                book.saveBoxCheck(draft(pump, photo), null, now(10))
                val found = book.diagnose(pump)
                check(found.signs.any { it.code == SignSeen.SAND }) { "${found.signs}" }
                check(found.causes.sumOf { it.share } in 0.999..1.001) { "${found.causes}" }
                check(found.causes.first { it.cause == Cause.WORN_CUPS }.signsFor.any { it.code == SignSeen.SAND }) { "${found.causes}" }
                check(found.cannotTell.any { "no grade" in it.en }) { "${found.cannotTell}" }
                same("looks", book.breakIns(), emptyList())
                same("calls", book.trackRecord().forecasts, 0uL)
                same("bins", book.trackRecord().bins, emptyList())
            }
        },
        "bad_input_is_thrown_as_the_variant_of_its_kind" to { folder ->
            FieldBook.open(folder.path, "Ana", "phone 1", now()).use { book ->
                refused<FieldBookException.Refused>("bad_pump_figure") { book.addPump(spec(boreMm = 20.0), now()) }
                refused<FieldBookException.NotFound>("no_such_pump") { book.pumpNamed("nobody") }
                refused<FieldBookException.Refused>("bad_moment") { book.addPump(spec(), Moment(Long.MAX_VALUE, 0)) }
                refused<FieldBookException.Refused>("bad_name") { book.setPerson("\n") }
                same("log", book.log(null, 10u), emptyList())
            }
        },
        "cut_then_busy_depot_pauses_the_queue_and_loses_nothing" to { folder ->
            FieldBook.open(folder.path, "Ana", "phone 1", now()).use { book ->
                book.saveBoxCheck(draft(book.addPump(spec(), now()), photo), null, now())
                val carrier = Carrier(TransportException.Cut("no signal"))
                val cut = book.runOutbox(carrier, null, options(), now(10)).ended as RunEnd.Paused
                same("trouble", cut.trouble?.code, "cut")
                val busy = book.runOutbox(carrier, null, options(), now(20)).ended as RunEnd.Paused
                check(busy.untilMs >= startMs + 140_000) { "Retry-After is not kept: $busy" }
                val events = mutableListOf<OutboxEvent>()
                val listener = object : OutboxListener {
                    override fun heard(event: OutboxEvent) {
                        events += event
                    }
                }
                book.runOutbox(carrier, listener, options(), now(30))
                check(events.single() is OutboxEvent.Paused) { "$events" }
                same("requests", carrier.requests.map { it.method }, List(3) { HttpMethod.PUT })
                check(carrier.requests.all { it.body is Body.Bytes })
                same("waiting", book.outbox().map { it.state }, List(4) { QueueState.WAITING })
            }
        },
        "exception_of_the_carrier_becomes_our_exception" to { folder ->
            FieldBook.open(folder.path, "Ana", "phone 1", now()).use { book ->
                book.addPump(spec(), now())
                refused<FieldBookException.Internal>("host_failed") {
                    book.runOutbox(Carrier(IllegalStateException("a fault of the shell")), null, options(), now(10))
                }
                same("waiting", book.outbox().size, 1)
            }
        },
        "closed_book_cannot_be_used" to { folder ->
            val book = FieldBook.open(folder.path, "Ana", "phone 1", now())
            book.close()
            val thrown = runCatching { book.pumps() }.exceptionOrNull()
            check(thrown is IllegalStateException) { "found $thrown" }
        },
    )
    var failed = 0
    for ((name, body) in checks) {
        try {
            body(File(work, name))
            println("ok      kotlin $name")
        } catch (failure: Throwable) {
            failed += 1
            println("FAILED  kotlin $name")
            failure.printStackTrace(System.out)
        }
    }
    println("kotlin: ${checks.size - failed} passed, $failed failed, 0 skipped")
    exitProcess(if (failed > 0) 1 else 0)
}
