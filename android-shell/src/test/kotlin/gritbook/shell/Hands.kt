package gritbook.shell

import android.app.Activity
import android.content.Intent
import android.net.Uri
import android.provider.MediaStore
import gritbook.core.CallQuestion
import gritbook.core.Cup
import gritbook.core.FieldBook
import gritbook.core.Moment
import gritbook.core.Part
import gritbook.core.PartFitted
import gritbook.core.PartRemoved
import gritbook.core.PourMade
import gritbook.core.RemovalReason
import gritbook.core.SealVariant
import gritbook.core.assumedCosts
import gritbook.shell.frame.Clock
import java.io.File
import org.json.JSONObject
import org.junit.Assert.assertEquals
import org.robolectric.Shadows.shadowOf

/* What stands around the app in a test: a camera, a picker, a book with something in it. */

/** The camera app writes [photo] where it was told to and comes back. Shutter and "keep" are two touches of the person. */
fun Bench.cameraTakes(photo: File) {
    val asked = shadowOf(activity as Activity).nextStartedActivityForResult
    assertEquals(MediaStore.ACTION_IMAGE_CAPTURE, asked.intent.action)
    cameraTakes(photo, asked.intent)
}

fun Bench.cameraTakes(photo: File, asked: Intent) {
    @Suppress("DEPRECATION")
    val target = asked.getParcelableExtra<Uri>(MediaStore.EXTRA_OUTPUT)!!
    assertEquals(target, asked.clipData!!.getItemAt(0).uri)
    photo.inputStream().use { from -> activity.contentResolver.openOutputStream(target, "w")!!.use { from.copyTo(it) } }
    shadowOf(activity as Activity).receiveResult(asked, Activity.RESULT_OK, null)
    count(2)
    settle()
}

fun Bench.cameraIsLeft() {
    val asked = shadowOf(activity as Activity).nextStartedActivityForResult
    shadowOf(activity as Activity).receiveResult(asked.intent, Activity.RESULT_CANCELED, null)
    settle()
}

/** Asks the book on a thread of its own, as a test may. */
fun <T> Bench.book(work: (FieldBook) -> T): T {
    var result: Result<T>? = null
    app.desk.ask(work = work) { result = it }
    settle()
    return result!!.getOrThrow()
}

fun spec(name: String, seal: SealVariant = SealVariant.GUIDE_BAND) = gritbook.core.assumedPump(name).copy(seal = seal)

/** A pump in the book, with a running total where one is given; home is shown anew. */
fun Bench.pump(name: String, totalM3: Double? = null): String {
    val id = book { book ->
        val id = book.addPump(spec(name), Clock.now())
        totalM3?.let { book.poured(id, PourMade(null, it, null, null), Clock.now()) }
        id
    }
    activity.again()
    settle()
    return id
}

/**
 * Calls on a pump with cups, each with its pour after it: [calls] of them with that chance of failure, of which the first [failed] ended in
 * a failure, after which new cups went in. The moments go on from [fromDay], days since 1970.
 */
fun Bench.calls(pump: String, chance: Double, calls: Int, failed: Int, fromDay: Long) = book { book ->
    val total = book.pumpSummary(pump).pumpM3 ?: 0.0
    val answer = JSONObject(book.call(pump, CallQuestion(10.0, null, null, null), assumedCosts(), Clock.now()).documentJson).put("chance_of_failure", chance).toString()
    repeat(calls) { at ->
        fun then(hour: Int) = Moment((fromDay + at) * 86_400_000L + hour * 3_600_000L, 0)
        val here = total + 10.0 * (at + 1)
        book.recordCall(pump, answer, null, null, then(6))
        book.poured(pump, PourMade(10.0, here, null, null), then(9))
        if (at < failed) {
            book.removed(pump, PartRemoved(Part.CUP, Cup.A, RemovalReason.FAILED, here), then(10))
            book.fitted(pump, PartFitted(Part.CUP, Cup.A, here, false, null), then(12))
        }
    }
}

/** A pump that came with new cups on a day, counted since 1970; home is shown anew. */
fun Bench.pumpSince(name: String, totalM3: Double, day: Long): String {
    val then = Moment(day * 86_400_000L, 0)
    val id = book { book ->
        val id = book.addPump(spec(name), then)
        book.poured(id, PourMade(null, totalM3, null, null), then)
        Cup.entries.forEach { book.fitted(id, PartFitted(Part.CUP, it, totalM3, false, null), then) }
        id
    }
    activity.again()
    settle()
    return id
}

/** Both cups new at a running total. */
fun Bench.newCups(pump: String, totalM3: Double) = book { book ->
    Cup.entries.forEach { book.fitted(pump, PartFitted(Part.CUP, it, totalM3, false, null), Clock.now()) }
}

/** The key that begins a box check of a pump. */
fun Bench.checkKey(name: String) = all().first { it.tag == name }

/** A step of the change-out is read to its end and marked. */
fun Bench.stepDone() {
    layOut()
    settle()
    while (activity.findViewById<android.view.View>(R.id.read_on) != null) touch(R.id.read_on)
    touch(R.id.done)
}

/** The thumb comes down on sound, slides along the arc to a grade and lifts: one touch. */
fun Bench.thumb(grade: Int) {
    layOut()
    val view = find<gritbook.shell.look.thumb.ThumbGradeView>(R.id.thumb)
    val origin = IntArray(2).also { view.arcView.getLocationInWindow(it) }
    fun at(grade: Int) = view.arcView.target(grade).let { origin[0] + it.exactCenterX() to origin[1] + it.exactCenterY() }
    val start = at(0)
    pull(start, at(grade))
}
