package gritbook.shell.screens

import android.os.SystemClock
import android.view.MotionEvent
import android.view.ViewGroup
import android.widget.TextView
import gritbook.shell.Bench
import gritbook.shell.Photos
import gritbook.shell.R
import gritbook.shell.cameraTakes
import gritbook.shell.frame.Place
import gritbook.shell.look.photo.OutlinePhotoView
import gritbook.shell.look.photo.WearPane
import gritbook.shell.pump
import org.json.JSONObject
import org.junit.Assert.assertEquals
import org.junit.Assert.assertNotNull
import org.junit.Assert.assertTrue
import org.junit.Rule
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.RobolectricTestRunner
import org.robolectric.annotation.GraphicsMode
import java.io.File

/** A bore has no colour to be found by: its outline is drawn with a finger, and what the photo shows inside it is told. */
@RunWith(RobolectricTestRunner::class)
@GraphicsMode(GraphicsMode.Mode.NATIVE)
class OutlineTest {
    @get:Rule
    val bench = Bench()

    /** Where the painted bore lies in its photo, px. */
    private val truth: List<Pair<Float, Float>> = run {
        val array = JSONObject(File(System.getProperty("gritbook.root"), "fixtures/faces/bore_scored.truth.json").readText()).getJSONArray("outline_px")
        val corners = List(array.length()) { array.getJSONArray(it).run { getDouble(0).toFloat() to getDouble(1).toFloat() } }
        // A finger leaves points along the straight sides too.
        corners.zip(corners.drop(1) + corners.first()).flatMap { (from, to) -> leg(from, to) }
    }

    private fun leg(from: Pair<Float, Float>, to: Pair<Float, Float>): List<Pair<Float, Float>> {
        val steps = (Math.hypot((to.first - from.first).toDouble(), (to.second - from.second).toDouble()) / 20).toInt().coerceAtLeast(1)
        return List(steps) { from.first + (to.first - from.first) * it / steps to from.second + (to.second - from.second) * it / steps }
    }

    private val seen get() = bench.find<OutlinePhotoView>(R.id.seen)

    private fun bore(): String {
        bench.start()
        val pump = bench.pump("Otter", 9_000.0)
        val place = Place("grade", "alone:$pump")
        bench.app.trail.draft(place).put("part", 6)
        bench.activity.go(place)
        bench.settle()
        assertEquals("Bore A", bench.find<TextView>(R.id.headline).text.toString())
        bench.touch(R.id.photograph)
        bench.cameraTakes(Photos.face("bore_scored"))
        bench.touch(R.id.wear_pair)
        bench.layOut()
        bench.settle()
        return pump
    }

    /** One finger along points of the photo, px. */
    private fun draw(points: List<Pair<Float, Float>>) {
        bench.layOut()
        val view = seen
        val origin = IntArray(2).also(view::getLocationInWindow)
        val began = SystemClock.uptimeMillis()
        bench.count(1)
        fun send(action: Int, at: Int) {
            val (x, y) = points[at]
            val event = MotionEvent.obtain(began, began + 10L * at, action, origin[0] + view.place.toViewX(x), origin[1] + view.place.toViewY(y), 0)
            bench.activity.dispatchTouchEvent(event)
            event.recycle()
        }
        send(MotionEvent.ACTION_DOWN, 0)
        for (at in 1 until points.size) send(MotionEvent.ACTION_MOVE, at)
        send(MotionEvent.ACTION_UP, points.lastIndex)
        bench.settle()
    }

    private fun lines(): List<String> = listOf(R.id.wear_headline, R.id.wear_told).flatMap { id ->
        bench.find<ViewGroup>(id).let { group -> (0 until group.childCount).map { (group.getChildAt(it) as TextView).text.toString() } }
    }

    @Test
    fun boreOutlinedByAFingerThenItsScoresAreToldAndMarked() {
        bore()
        assertTrue("${lines()}", lines().any { "Photo not measured" in it } && lines().any { "outline" in it })
        val before = bench.touches
        bench.touch(R.id.outline)
        // A hand does not stop where it began: it runs a little past.
        draw(truth + truth.take(truth.size / 20))
        bench.picture("outline")
        bench.touch(R.id.save)
        bench.layOut()
        bench.settle()
        assertEquals("wear", bench.screen.at.screen)
        assertEquals("outlined and measured", 3, bench.touches - before)
        assertTrue("${lines()}", lines().any { "score" in it.lowercase() } && lines().none { "not measured" in it })
        assertTrue(bench.find<WearPane>(R.id.wear_now).marks.isNotEmpty())
        bench.picture("outline_measured")
    }

    @Test
    fun outlineHalfDrawnAndTheProcessEndsThenItIsThereAgainAndCanBeUsed() {
        bore()
        bench.touch(R.id.outline)
        draw(truth)
        val drawn = seen.outlinePx
        assertTrue(drawn.size > 40)
        bench.die()
        bench.settle()
        assertEquals("outline", bench.screen.at.screen)
        assertEquals(drawn, seen.outlinePx)
    }

    @Test
    fun nothingDrawnThenItSaysSoAndATapOutlinesNothing() {
        bore()
        bench.touch(R.id.outline)
        bench.touch(R.id.save)
        assertTrue(bench.texts(), "Draw round the surface first." in bench.texts())
        bench.touch(R.id.seen)
        assertEquals(emptyList<Float>(), seen.outlinePx)
        bench.touch(R.id.outline_all)
        assertEquals(8, seen.outlinePx.size)
        bench.touch(R.id.save)
        assertEquals("wear", bench.screen.at.screen)
    }

    @Test
    fun outlineThatCrossesItselfThenTheBookSaysHowToDrawIt() {
        bore()
        bench.touch(R.id.outline)
        val (a, b) = (400f to 500f) to (1000f to 500f)
        val (c, d) = (1000f to 1100f) to (400f to 1100f)
        // A figure of eight.
        draw(leg(a, c) + leg(c, b) + leg(b, d) + leg(d, a))
        bench.touch(R.id.save)
        bench.layOut()
        bench.settle()
        assertTrue("${lines()}", lines().any { "crosses itself" in it.lowercase() } && lines().any { "once" in it })
        assertNotNull("it can be drawn again", bench.activity.findViewById(R.id.outline))
    }
}
