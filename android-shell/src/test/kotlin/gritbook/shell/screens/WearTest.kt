package gritbook.shell.screens

import android.app.Activity
import android.content.Intent
import android.graphics.Bitmap
import android.graphics.Canvas
import android.net.Uri
import android.os.SystemClock
import android.view.MotionEvent
import android.view.View
import android.view.ViewGroup
import android.widget.TextView
import gritbook.core.Cup
import gritbook.core.EntryBody
import gritbook.core.GradeDraft
import gritbook.core.GradeGiven
import gritbook.core.GradeSource
import gritbook.core.GradesDraft
import gritbook.core.Part
import gritbook.core.PartFitted
import gritbook.core.PourMade
import gritbook.core.QueuedThing
import gritbook.core.UnitSystem
import gritbook.core.criteriaEdition
import gritbook.shell.Bench
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.book
import gritbook.shell.cameraIsLeft
import gritbook.shell.cameraTakes
import gritbook.shell.carry.Shots
import gritbook.shell.checkKey
import gritbook.shell.frame.Clock
import gritbook.shell.frame.Place
import gritbook.shell.look.photo.WearPane
import gritbook.shell.look.photo.WearPairView
import gritbook.shell.look.difference
import gritbook.shell.pump
import gritbook.shell.screens.check.WearShots
import gritbook.shell.thumb
import java.io.File
import java.util.Locale
import org.junit.After
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNotEquals
import org.junit.Assert.assertNotNull
import org.junit.Assert.assertNull
import org.junit.Assert.assertTrue
import org.junit.Before
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.Shadows.shadowOf
import org.robolectric.annotation.GraphicsMode

/** Photos of wear surfaces: taken while a part is graded, kept with its grade, shown beside the last ones. */
@RunWith(RobolectricTestRunner::class)
@GraphicsMode(GraphicsMode.Mode.NATIVE)
class WearTest {
    @get:Rule
    val bench = Bench()

    private val language = Locale.getDefault()

    @Before
    fun english() = Locale.setDefault(Locale.US)

    @After
    fun clock() {
        Locale.setDefault(language)
        Clock.read = System::currentTimeMillis
    }

    private val fresh = Photos.demo("lumps")
    private val earlier = Photos.demo("paste")

    private fun grading(pump: String) {
        bench.activity.go(Place("grade", pump))
        bench.settle()
    }

    /** In metres, wherever the language is spoken. */
    private fun start() {
        bench.start()
        bench.app.prefs.edit { put("units", UnitSystem.METRIC.name) }
    }

    private fun begin(): String {
        start()
        return bench.pump("Otter", 9_000.0).also(::grading)
    }

    /** What was kept of cup A before: a photo of two years ago, at 7000 m3, bedded. */
    private fun keepEarlier(pump: String, photo: File = earlier) {
        // 3 March 2024, 12:00 UTC.
        Clock.read = { 1_709_467_200_000 }
        val given = GradeDraft(Part.CUP, Cup.A, 1u, GradeSource.EYE, criteriaEdition(), listOf(photo.path))
        bench.book { it.saveGrades(GradesDraft(pump, 7_000.0, listOf(given)), Clock.now()) }
        Clock.read = System::currentTimeMillis
        bench.book { it.poured(pump, PourMade(null, 9_000.0, null, null), Clock.now()) }
    }

    private fun grades(pump: String): List<GradeGiven> = bench.book { it.effective(pump) }.mapNotNull { (it.entry.body as? EntryBody.Graded)?.graded }

    private fun photographed(file: File = fresh) {
        bench.touch(R.id.photograph)
        bench.cameraTakes(file)
    }

    private val pane get() = bench.find<WearPane>(R.id.wear_now)
    private val last get() = bench.find<WearPane>(R.id.wear_last)

    @Test
    fun partPhotographedAndGradedThenThePhotoIsKeptWithTheGradeAndWaitsToBeSent() {
        val pump = begin()
        photographed()
        assertEquals("grade", bench.screen.at.screen)
        bench.thumb(3)
        bench.touch(R.id.back)
        val graded = grades(pump).single()
        assertEquals(listOf(Photos.sha256(fresh)), graded.photos)
        assertEquals(3, graded.grade.toInt())
        assertEquals(9_000.0, graded.pumpM3!!, 0.0)
        assertTrue(bench.book { it.outbox() }.any { (it.thing as? QueuedThing.Photo)?.photoId == Photos.sha256(fresh) })
        assertEquals("nothing is left on the way", emptyList<String>(), Shots.folder(bench.app).list()!!.toList())
        assertTrue(bench.book { it.verify() }.sound)
    }

    @Test
    fun noEarlierPhotoThenItSaysSo() {
        begin()
        photographed()
        assertTrue(bench.texts(), "No earlier photo" in bench.texts())
        bench.touch(R.id.wear_pair)
        assertEquals("wear", bench.screen.at.screen)
        assertNotNull(bench.activity.findViewById(R.id.wear_none))
    }

    @Test
    fun earlierPhotoOfTheSameCupThenItStandsBesideWithDateTotalAndGrade() {
        start()
        val pump = bench.pump("Otter", 9_000.0)
        keepEarlier(pump)
        grading(pump)
        val pair = bench.find<WearPairView>(R.id.wear_pair)
        assertEquals(View.VISIBLE, pair.visibility)
        assertTrue(pair.contentDescription.toString(), "3/3/24" in pair.contentDescription)
        photographed()
        bench.thumb(2)
        bench.picture("grade_wear")
        bench.touch(R.id.wear_pair)
        bench.layOut()
        bench.settle()
        bench.picture("wear")
        val texts = bench.texts()
        for (words in listOf("Mar 3, 2024", "7000 m³", "1 bedded", "Now", "9000 m³", "2 worn")) assertTrue("$words in\n$texts", words.replace(' ', '.').toRegex().containsMatchIn(texts))
        assertTrue("beside, not below", last.left == pane.left && (last.parent as View).left > (pane.parent as View).left)
    }

    @Test
    fun photoOfAnotherCupOrPumpThenItIsNotShownBeside() {
        start()
        val pump = bench.pump("Otter", 9_000.0)
        val other = bench.pump("Heron", 9_000.0)
        keepEarlier(other)
        grading(pump)
        assertEquals(View.GONE, bench.find<View>(R.id.wear_pair).visibility)
        bench.touch(R.id.back)
        keepEarlier(pump)
        grading(pump)
        assertEquals(View.VISIBLE, bench.find<View>(R.id.wear_pair).visibility)
        bench.touch(R.id.next)
        assertEquals("cup B has none", View.GONE, bench.find<View>(R.id.wear_pair).visibility)
    }

    @Test
    fun newCupFittedSinceThenTheEarlierPhotoIsSaidToBeOfThePartBefore() {
        start()
        val pump = bench.pump("Otter", 9_000.0)
        keepEarlier(pump)
        bench.book { it.fitted(pump, PartFitted(Part.CUP, Cup.A, 8_000.0, false, null), Clock.now()) }
        grading(pump)
        bench.touch(R.id.wear_pair)
        assertTrue(bench.texts(), "The part before this one" in bench.texts())
    }

    @Test
    fun oneZoomedAndMovedThenTheOtherGoesInStep() {
        start()
        val pump = bench.pump("Otter", 9_000.0)
        keepEarlier(pump)
        grading(pump)
        photographed()
        bench.touch(R.id.wear_pair)
        bench.layOut()
        bench.settle()
        assertEquals(1f, last.stance!!.closer, 0.01f)
        pinch(pane, 640f)
        val (one, other) = pane.stance!! to last.stance!!
        assertTrue("zoomed to ${one.closer}", one.closer > 1.4f)
        assertEquals(one.closer, other.closer, 0.01f)
        assertEquals(one.x, other.x, 0.01f)
        assertEquals(one.y, other.y, 0.01f)
        // Now the other one is moved, and the first follows.
        val before = other.x
        drag(last, 70f, 20f)
        assertNotEquals(before, last.stance!!.x, 0.005f)
        assertEquals(last.stance!!.x, pane.stance!!.x, 0.01f)
        assertEquals(last.stance!!.y, pane.stance!!.y, 0.01f)
        bench.picture("wear_zoomed")
    }

    @Test
    fun severalPhotosThenEachCanBeSeenAndOneTakenAway() {
        val pump = begin()
        photographed(fresh)
        bench.touch(R.id.wear_pair)
        photographed(earlier)
        photographed(Photos.demo("sand"))
        assertTrue(bench.texts(), "1 of 3" in bench.texts())
        bench.touch(R.id.wear_next_now)
        assertTrue(bench.texts(), "2 of 3" in bench.texts())
        bench.touch(R.id.wear_take_away)
        bench.touch(R.id.back)
        bench.thumb(1)
        bench.touch(R.id.back)
        assertEquals(listOf(fresh, Photos.demo("sand")).map(Photos::sha256), grades(pump).single().photos)
    }

    @Test
    fun gradedWithinABoxCheckThenThePhotoGoesWithTheGradeAndTheBoxKeepsItsOwn() {
        start()
        val pump = bench.pump("Otter", 9_000.0)
        bench.touch(bench.checkKey("Otter"))
        bench.cameraTakes(Photos.demo("sand"))
        bench.touch(R.id.liquid_grey)
        bench.touch(R.id.grades_key)
        photographed()
        bench.thumb(3)
        bench.touch(R.id.back)
        assertEquals("check", bench.screen.at.screen)
        bench.touch(R.id.save)
        assertEquals(listOf(Photos.sha256(fresh)), grades(pump).single().photos)
        val check = bench.book { it.effective(pump) }.firstNotNullOf { (it.entry.body as? EntryBody.BoxCheck)?.check }
        assertEquals(listOf(Photos.sha256(Photos.demo("sand"))), check.photos)
        assertEquals(emptyList<String>(), Shots.folder(bench.app).list()!!.toList())
    }

    @Test
    fun processEndsBehindTheCameraThenThePhotoArrivesAndTheGradeIsStillThere() {
        val pump = begin()
        bench.thumb(2)
        bench.touch(R.id.photograph)
        val asked = shadowOf(bench.activity as Activity).nextStartedActivityForResult
        bench.die()
        @Suppress("DEPRECATION")
        val target = asked.intent.getParcelableExtra<Uri>(android.provider.MediaStore.EXTRA_OUTPUT)!!
        bench.activity.contentResolver.openOutputStream(target, "w")!!.use { it.write(fresh.readBytes()) }
        shadowOf(bench.activity as Activity).callOnActivityResult(asked.requestCode, Activity.RESULT_OK, null)
        bench.settle()
        assertEquals("grade", bench.screen.at.screen)
        bench.touch(R.id.back)
        val graded = grades(pump).single()
        assertEquals(2 to listOf(Photos.sha256(fresh)), graded.grade.toInt() to graded.photos)
    }

    @Test
    fun savedTwiceAfterTheProcessEndedThenTheGradesStandOnce() {
        val pump = begin()
        photographed()
        bench.thumb(3)
        val draft = bench.screen.draft.json.toString()
        val shots = Shots.folder(bench.app)
        val kept = File(bench.app.cacheDir, "kept")
        shots.copyRecursively(kept)
        bench.touch(R.id.back)
        assertEquals(1, grades(pump).size)
        // The process ended after the save and before the draft was taken away.
        kept.copyRecursively(shots, overwrite = true)
        bench.app.pen.write("draft.grade.$pump.json", draft)
        bench.app.pen.write("trail.json", """[{"screen":"home"},{"screen":"grade","about":"$pump"}]""")
        bench.die()
        bench.settle()
        bench.touch(R.id.back)
        assertEquals(1, grades(pump).size)
    }

    private fun drawn(view: View) = Bitmap.createBitmap(view.width, view.height, Bitmap.Config.ARGB_8888).also { view.draw(Canvas(it)) }

    /** What the photo shows, line by line. */
    private val told get() = listOf(R.id.wear_headline, R.id.wear_told).map { bench.find<ViewGroup>(it) }
        .flatMap { box -> List(box.childCount) { (box.getChildAt(it) as TextView).text.toString() } }

    @Test
    fun photoOfACupThenWhatItShowsStandsBelowBesideTheLastOneAndItIsDrawnOverAndNobodyGrades() {
        start()
        val pump = bench.pump("Otter", 9_000.0)
        keepEarlier(pump, Photos.face("cup_before"))
        grading(pump)
        photographed(Photos.face("cup"))
        bench.touch(R.id.wear_pair)
        bench.layOut()
        bench.settle()
        bench.picture("wear_measured")
        val plain = drawn(pane)
        pane.closer()
        bench.settle()
        bench.picture("wear_measured_closer")
        val marks = pane.marks
        val marked = drawn(pane)
        pane.marks = emptyList()
        assertTrue("outlines show once the photo is closer", difference(marked, drawn(pane)) > 0.01)
        pane.whole()
        assertEquals("and not before", 0.0, difference(plain, drawn(pane)), 0.0)
        pane.marks = marks
        assertTrue("$told", "Share under grit: 3\\.\\d % \\(3\\.\\d to 4\\.\\d\\)".toRegex().matches(told.first()))
        assertTrue("$told", "More grit than last time." in told)
        assertEquals("This measures the photo. You give the grade.", told.last())
        assertTrue("marks are drawn", pane.marks.size > 20)
        assertEquals("nothing is graded", 1, grades(pump).size)
        bench.touch(R.id.wear_take_away)
        assertEquals(emptyList<String>(), told)
    }

    @Test
    @org.robolectric.annotation.Config(qualifiers = "es-rMX-w360dp-h640dp-xhdpi")
    fun photoThatCannotBeMeasuredThenItSaysWhyAndWhatToDoInSpanishAndIsKept() {
        Locale.setDefault(language)
        val pump = begin()
        photographed(Photos.face("no_white"))
        bench.thumb(2)
        bench.touch(R.id.wear_pair)
        bench.settle()
        bench.picture("wear_not_measured")
        assertEquals("Foto sin medir", told.first())
        assertEquals("$told", 3, told.size)
        assertEquals(gritbook.core.spanishError("no_white")!!.advice, told.last())
        bench.touch(R.id.back)
        bench.touch(R.id.back)
        assertEquals(listOf(Photos.sha256(Photos.face("no_white"))), grades(pump).single().photos)
    }

    @Test
    fun photographedAndNotGradedThenItIsToldAndNothingIsLost() {
        val pump = begin()
        photographed()
        bench.touch(R.id.back)
        assertEquals("grade", bench.screen.at.screen)
        assertTrue(bench.texts(), "Cup A has a photo and no grade" in bench.texts())
        bench.thumb(0)
        bench.touch(R.id.back)
        assertEquals(1, grades(pump).single().photos.size)
    }

    @Test
    fun cameraMissingThenAPhotoIsPickedFromStorage() {
        val pump = begin()
        shadowOf(bench.app).checkActivities(true)
        bench.touch(R.id.photograph)
        assertTrue(bench.texts(), "no camera" in bench.texts())
        shadowOf(bench.app).checkActivities(false)
        val from = Uri.parse("content://elsewhere/face.jpg")
        shadowOf(bench.app.contentResolver).registerInputStreamSupplier(from) { fresh.inputStream() }
        bench.touch(R.id.pick)
        val asked = shadowOf(bench.activity as Activity).nextStartedActivityForResult
        assertEquals(Intent.ACTION_OPEN_DOCUMENT, asked.intent.action)
        shadowOf(bench.activity as Activity).receiveResult(asked.intent, Activity.RESULT_OK, Intent().setData(from))
        bench.settle()
        assertEquals("grade", bench.screen.at.screen)
        bench.thumb(4)
        bench.touch(R.id.back)
        assertEquals(listOf(Photos.sha256(fresh)), grades(pump).single().photos)
    }

    @Test
    fun cameraLeftThenTheEarlierPhotosAreSeenAndNothingIsWaitedFor() {
        begin()
        bench.touch(R.id.photograph)
        bench.cameraIsLeft()
        assertEquals("wear", bench.screen.at.screen)
        assertNull(bench.screen.draft.textOrNull("pending"))
        bench.touch(R.id.back)
        assertEquals("grade", bench.screen.at.screen)
    }

    @Test
    fun photoDeletedUnderUsThenItIsToldAndTheGradeIsKept() {
        val pump = begin()
        photographed()
        bench.thumb(3)
        Shots.folder(bench.app).listFiles()!!.forEach { it.delete() }
        bench.die()
        bench.settle()
        assertTrue(bench.texts(), "gone from the phone" in bench.texts())
        assertEquals(emptyList<String>(), WearShots.all(bench.screen.draft))
        bench.touch(R.id.back)
        assertEquals(emptyList<String>(), grades(pump).single().photos)
    }

    @Test
    fun keptPhotoGoneFromThePhoneThenItsPlaceSaysSo() {
        start()
        val pump = bench.pump("Otter", 9_000.0)
        keepEarlier(pump)
        File(bench.app.desk.bookFolder, "photos").listFiles()!!.forEach { it.delete() }
        grading(pump)
        bench.touch(R.id.wear_pair)
        assertTrue(bench.texts(), "This photo is not on this phone" in bench.texts())
        assertTrue(bench.texts(), "1 bedded" in bench.texts())
    }

    private fun point(view: View): Pair<Float, Float> {
        bench.layOut()
        val seen = android.graphics.Rect()
        assertTrue(view.getGlobalVisibleRect(seen))
        return seen.exactCenterX() to seen.exactCenterY()
    }

    /** Two fingers around the middle of the window at a view's height, a thumb's width apart at first, spread to [to] px; the first is on [view]. */
    private fun pinch(view: View, to: Float) {
        val y = point(view).second
        val middle = bench.activity.window.decorView.width / 2f
        val at = SystemClock.uptimeMillis()
        fun send(action: Int, count: Int, apart: Float, step: Int) {
            val places = listOf(middle - apart / 2, middle + apart / 2)
            val properties = Array(count) { MotionEvent.PointerProperties().apply { id = it; toolType = MotionEvent.TOOL_TYPE_FINGER } }
            val coords = Array(count) { MotionEvent.PointerCoords().apply { x = places[it]; this.y = y; pressure = 1f; size = 1f } }
            val event = MotionEvent.obtain(at, at + 20L * step, action, count, properties, coords, 0, 0, 1f, 1f, 0, 0, android.view.InputDevice.SOURCE_TOUCHSCREEN, 0)
            bench.activity.dispatchTouchEvent(event)
            event.recycle()
        }
        val from = 200f
        send(MotionEvent.ACTION_DOWN, 1, from, 0)
        send(MotionEvent.ACTION_POINTER_DOWN or (1 shl MotionEvent.ACTION_POINTER_INDEX_SHIFT), 2, from, 1)
        for (step in 1..20) send(MotionEvent.ACTION_MOVE, 2, from + (to - from) * step / 20, 1 + step)
        send(MotionEvent.ACTION_POINTER_UP or (1 shl MotionEvent.ACTION_POINTER_INDEX_SHIFT), 2, to, 22)
        send(MotionEvent.ACTION_UP, 1, to, 23)
        bench.settle()
    }

    private fun drag(view: View, dx: Float, dy: Float) {
        val (x, y) = point(view)
        val at = SystemClock.uptimeMillis()
        for (step in 0..10) {
            val action = when (step) { 0 -> MotionEvent.ACTION_DOWN; 10 -> MotionEvent.ACTION_UP; else -> MotionEvent.ACTION_MOVE }
            val event = MotionEvent.obtain(at, at + 30L * step, action, x + dx * step / 10, y + dy * step / 10, 0)
            bench.activity.dispatchTouchEvent(event)
            event.recycle()
        }
        bench.settle()
    }
}
