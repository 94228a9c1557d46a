package gritbook.shell

import android.app.Activity
import android.content.Intent
import android.graphics.Bitmap
import android.graphics.Canvas
import android.os.Looper
import android.os.SystemClock
import android.view.MotionEvent
import android.view.View
import android.view.ViewGroup
import android.widget.TextView
import java.io.File
import org.junit.Assert.assertNotNull
import org.junit.Assert.assertTrue
import org.junit.rules.ExternalResource
import org.robolectric.Robolectric
import org.robolectric.RuntimeEnvironment
import org.robolectric.Shadows.shadowOf
import org.robolectric.android.controller.ActivityController

/** A phone in a test: the app with its Activity, fingers that count their touches, and an end to its process. */
class Bench : ExternalResource() {
    val app get() = RuntimeEnvironment.getApplication() as App
    private var controller: ActivityController<MainActivity>? = null
    private var saved = android.os.Bundle()

    /** Touches so far. */
    var touches = 0
        private set

    val activity: MainActivity get() = controller!!.get()
    val screen get() = activity.screen!!

    /** The settings are read with the language the phone has now, not with one the test takes up later. */
    override fun before() = settle()

    fun start(): MainActivity {
        val made = Robolectric.buildActivity(MainActivity::class.java)
        controller = made
        made.setup()
        settle()
        return activity
    }

    /** The system ends the process behind another app, then brings the Activity back. */
    fun die() {
        settle()
        val dying = controller!!
        saved = android.os.Bundle()
        dying.pause().saveInstanceState(saved).stop().destroy()
        app.pen.flush()
        app.pen.close()
        app.desk.close()
        app.start()
        val made = Robolectric.buildActivity(MainActivity::class.java)
        controller = made
        made.setup(saved)
    }

    /** The Activity is made anew (turned, another language), the process lives on. */
    fun turn(qualifiers: String) {
        val dying = controller!!
        saved = android.os.Bundle()
        dying.pause().saveInstanceState(saved).stop().destroy()
        RuntimeEnvironment.setQualifiers(qualifiers)
        val made = Robolectric.buildActivity(MainActivity::class.java)
        controller = made
        made.setup(saved)
        settle()
    }

    /** Waits until nothing that was asked is unanswered. */
    fun settle(limitMs: Long = 60_000) {
        val end = SystemClock.uptimeMillis().let { System.nanoTime() / 1_000_000 + limitMs }
        var quiet = 0
        while (quiet < 3) {
            shadowOf(Looper.getMainLooper()).idle()
            val still = app.restored && app.desk.idle
            quiet = if (still) quiet + 1 else 0
            if (!still) Thread.sleep(2)
            assertTrue("still busy after $limitMs ms", System.nanoTime() / 1_000_000 < end)
        }
    }

    fun <V : View> find(id: Int): V {
        val view = activity.findViewById<V>(id)
        assertNotNull("no view ${RuntimeEnvironment.getApplication().resources.getResourceEntryName(id)} on ${activity.screen?.at}: ${texts()}", view)
        return view
    }

    /** A finger on the middle of a view; a view out of sight costs one more for the scroll. */
    /** Touches made elsewhere, in the camera for one. */
    fun count(more: Int) {
        touches += more
    }

    fun touch(id: Int) = touch(find<View>(id))

    fun touch(view: View) {
        layOut()
        if (!reachable(view)) {
            touches += 1
            view.requestRectangleOnScreen(android.graphics.Rect(0, 0, view.width, view.height), true)
            shadowOf(Looper.getMainLooper()).idle()
            layOut()
        }
        assertTrue("cannot be reached: ${describe(view)}", reachable(view))
        val seen = android.graphics.Rect()
        view.getGlobalVisibleRect(seen)
        touches += 1
        val at = SystemClock.uptimeMillis()
        listOf(MotionEvent.ACTION_DOWN, MotionEvent.ACTION_UP).forEachIndexed { index, action ->
            val event = MotionEvent.obtain(at, at + 60L * index, action, seen.exactCenterX(), seen.exactCenterY(), 0)
            activity.dispatchTouchEvent(event)
            event.recycle()
        }
        settle()
    }

    /** A pull across a view by a share of its width, in one go. */
    fun drag(id: Int, share: Float) {
        layOut()
        val seen = android.graphics.Rect()
        assertTrue("cannot be reached", find<View>(id).getGlobalVisibleRect(seen))
        val start = seen.exactCenterX() to seen.exactCenterY()
        pull(start, start.first + seen.width() * share to start.second)
    }

    /** One finger from a point of the window to another. */
    fun pull(from: Pair<Float, Float>, to: Pair<Float, Float>) {
        touches += 1
        val at = SystemClock.uptimeMillis()
        fun send(action: Int, step: Int) {
            val (x, y) = from.first + (to.first - from.first) * step / 10 to from.second + (to.second - from.second) * step / 10
            val event = MotionEvent.obtain(at, at + 100L * step, action, x, y, 0)
            activity.dispatchTouchEvent(event)
            event.recycle()
        }
        send(MotionEvent.ACTION_DOWN, 0)
        for (step in 1..10) send(MotionEvent.ACTION_MOVE, step)
        send(MotionEvent.ACTION_UP, 10)
        settle()
    }

    /** Typing costs a touch for the field; keys of the keyboard are counted by [keys]. */
    fun type(id: Int, text: String) {
        touch(id)
        keys += text.length
        find<TextView>(id).text = text
        settle()
    }

    var keys = 0
        private set

    private fun reachable(view: View): Boolean {
        val seen = android.graphics.Rect()
        return view.isShown && view.getGlobalVisibleRect(seen) && seen.height() * 2 >= view.height && seen.width() * 2 >= view.width
    }

    private fun describe(view: View) = (view as? TextView)?.text ?: view.toString()

    fun layOut(heightPx: Int = activity.resources.displayMetrics.heightPixels) {
        val metrics = activity.resources.displayMetrics
        val decor = activity.window.decorView
        decor.measure(
            View.MeasureSpec.makeMeasureSpec(metrics.widthPixels, View.MeasureSpec.EXACTLY),
            View.MeasureSpec.makeMeasureSpec(heightPx, View.MeasureSpec.EXACTLY),
        )
        decor.layout(0, 0, metrics.widthPixels, heightPx)
    }

    /** Everything that can be read on the screen, line by line. */
    fun texts(): String = all().filterIsInstance<TextView>().filter { it.isShown && it.text.isNotEmpty() }.joinToString("\n") { it.text }

    fun all(): List<View> = mutableListOf<View>().also { gather(activity.window.decorView, it) }

    private fun gather(view: View, into: MutableList<View>) {
        into += view
        if (view is ViewGroup) repeat(view.childCount) { gather(view.getChildAt(it), into) }
    }

    /** What the camera or the picker was asked for last. */
    fun asked(): Intent = shadowOf(activity as Activity).nextStartedActivityForResult.intent

    /** The screen as a picture, for people to look at; [heightPx] for all that scrolls on it. */
    fun picture(name: String, heightPx: Int = activity.resources.displayMetrics.heightPixels) {
        layOut(heightPx)
        val decor = activity.window.decorView
        val bitmap = Bitmap.createBitmap(decor.width, decor.height, Bitmap.Config.ARGB_8888)
        decor.draw(Canvas(bitmap))
        val file = File(System.getProperty("gritbook.pictures"), "$name.png")
        file.parentFile!!.mkdirs()
        file.outputStream().use { bitmap.compress(Bitmap.CompressFormat.PNG, 100, it) }
        bitmap.recycle()
    }

    override fun after() {
        if (runCatching { app.desk }.isFailure) return
        controller?.close()
        controller = null
        app.pen.close()
        app.desk.close()
    }
}
