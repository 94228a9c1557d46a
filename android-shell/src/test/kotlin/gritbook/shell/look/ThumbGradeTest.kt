package gritbook.shell.look

import android.app.Activity
import android.os.Bundle
import android.os.Parcelable
import android.util.SparseArray
import android.view.HapticFeedbackConstants
import android.view.KeyEvent
import android.view.MotionEvent
import android.view.View
import android.view.ViewGroup
import android.view.accessibility.AccessibilityNodeInfo
import android.widget.TextView
import gritbook.core.Part
import gritbook.shell.R
import gritbook.shell.look.thumb.ThumbGradeView
import org.junit.Assert.assertEquals
import org.junit.Assert.assertFalse
import org.junit.Assert.assertNull
import org.junit.Assert.assertTrue
import org.junit.Test
import org.junit.runner.RunWith
import org.robolectric.Robolectric
import org.robolectric.RobolectricTestRunner
import org.robolectric.Shadows.shadowOf
import org.robolectric.annotation.GraphicsMode

@RunWith(RobolectricTestRunner::class)
@GraphicsMode(GraphicsMode.Mode.NATIVE)
class ThumbGradeTest {
    private val heard = ArrayList<Int?>()

    /** A thumb view in an Activity, as high as a page leaves it. */
    private fun thumb(language: String = "en", landscape: Boolean = false, night: Boolean = false, font: Float = 1f, set: ThumbGradeView.() -> Unit = {}): ThumbGradeView {
        phone(language, landscape, night, font)
        val activity = Robolectric.buildActivity(Activity::class.java).setup().get()
        activity.setTheme(R.style.Gritbook)
        val view = ThumbGradeView(activity).apply { id = R.id.thumb }
        view.show(Part.CUP, "Cup A")
        view.set()
        view.onGrade = { heard += it }
        activity.setContentView(view)
        layOut(view, if (landscape) 640 else 360, if (landscape) 280 else 540)
        return view
    }

    private fun touch(view: View, action: Int, x: Float, y: Float) {
        val event = MotionEvent.obtain(0, 10, action, x, y, 0)
        view.dispatchTouchEvent(event)
        event.recycle()
    }

    private fun ThumbGradeView.middle(grade: Int) = arcView.target(grade).let { it.exactCenterX() to it.exactCenterY() }

    private fun ThumbGradeView.slide(vararg grades: Int, lift: Boolean = true) {
        val (x, y) = middle(grades.first())
        touch(arcView, MotionEvent.ACTION_DOWN, x, y)
        for ((from, to) in grades.toList().zipWithNext()) for (step in 1..8) {
            val (x0, y0) = middle(from)
            val (x1, y1) = middle(to)
            touch(arcView, MotionEvent.ACTION_MOVE, x0 + (x1 - x0) * step / 8, y0 + (y1 - y0) * step / 8)
        }
        val (endX, endY) = middle(grades.last())
        if (lift) touch(arcView, MotionEvent.ACTION_UP, endX, endY)
    }

    private fun words(view: View) = seen(view).filterIsInstance<TextView>().map { it.text.toString() }

    @Test
    fun thumb_slides_from_sound_to_passing_then_words_follow_and_lifting_sets() {
        val view = thumb()
        view.slide(0, 1, 2, 3, lift = false)
        assertEquals(3, view.shown)
        assertNull(view.grade)
        assertTrue(words(view).toString(), "3 passing" in words(view))
        assertTrue("Lip cut, torn or worn through in places; sand has passed." in words(view))
        assertTrue(heard.isEmpty())
        val (x, y) = view.middle(3)
        touch(view.arcView, MotionEvent.ACTION_UP, x, y)
        assertEquals(3, view.grade)
        assertEquals(listOf<Int?>(3), heard)
    }

    @Test
    fun thumb_reaches_a_grade_then_a_tick_is_felt_and_at_setting_another() {
        val view = thumb()
        view.slide(1, 2, lift = false)
        assertEquals(HapticFeedbackConstants.CLOCK_TICK, shadowOf(view.arcView).lastHapticFeedbackPerformed())
        val (x, y) = view.middle(2)
        touch(view.arcView, MotionEvent.ACTION_UP, x, y)
        val set = shadowOf(view.arcView).lastHapticFeedbackPerformed()
        assertTrue("$set", set == HapticFeedbackConstants.CONFIRM || set == HapticFeedbackConstants.VIRTUAL_KEY)
    }

    @Test
    fun fast_thumb_then_what_came_between_frames_counts() {
        val view = thumb()
        val (x0, y0) = view.middle(0)
        touch(view.arcView, MotionEvent.ACTION_DOWN, x0, y0)
        val (x4, y4) = view.middle(4)
        val event = MotionEvent.obtain(0, 20, MotionEvent.ACTION_MOVE, view.middle(2).first, view.middle(2).second, 0)
        event.addBatch(30, x4, y4, 1f, 1f, 0)
        view.arcView.dispatchTouchEvent(event)
        assertEquals(4, view.shown)
    }

    @Test
    fun thumb_leaves_the_arc_sideways_then_nothing_is_set() {
        val view = thumb { show(Part.CUP, "Cup A", grade = 1) }
        view.slide(1, 2, 3, lift = false)
        touch(view.arcView, MotionEvent.ACTION_MOVE, -view.arcView.width * 2f, view.middle(3).second)
        assertEquals(1, view.shown)
        touch(view.arcView, MotionEvent.ACTION_UP, -view.arcView.width * 2f, view.middle(3).second)
        assertEquals(1, view.grade)
        assertTrue(heard.isEmpty())
    }

    @Test
    fun gesture_is_taken_away_then_the_old_grade_stands() {
        val view = thumb { show(Part.CUP, "Cup A", grade = 2) }
        view.slide(2, 4, lift = false)
        touch(view.arcView, MotionEvent.ACTION_CANCEL, 0f, 0f)
        assertEquals(2, view.grade)
        assertEquals(2, view.shown)
    }

    @Test
    fun trembling_thumb_between_two_grades_then_it_ticks_once() {
        val view = thumb()
        val (x2, y2) = view.middle(2)
        val (_, y3) = view.middle(3)
        touch(view.arcView, MotionEvent.ACTION_DOWN, x2, y2)
        val shown = ArrayList<Int?>()
        for (tremble in listOf(0.49f, 0.53f, 0.47f, 0.55f, 0.45f, 0.7f, 0.53f, 0.47f)) {
            touch(view.arcView, MotionEvent.ACTION_MOVE, x2, y2 + (y3 - y2) * tremble)
            if (shown.lastOrNull() != view.shown) shown += view.shown
        }
        assertEquals(listOf<Int?>(2, 3), shown)
    }

    @Test
    fun one_touch_takes_back_and_a_second_slide_can_be_taken_back_again() {
        val view = thumb { show(Part.CUP, "Cup A", grade = 1) }
        val undo = view.findViewById<View>(R.id.thumb_undo)
        assertEquals(View.INVISIBLE, undo.visibility)
        view.slide(1, 2, 3)
        assertEquals(View.VISIBLE, undo.visibility)
        undo.performClick()
        assertEquals(1, view.grade)
        assertFalse(view.canTakeBack)
        view.slide(4)
        undo.performClick()
        assertEquals(listOf<Int?>(3, 1, 4, 1), heard)
    }

    @Test
    fun first_grade_taken_back_then_there_is_none() {
        val view = thumb()
        view.slide(4)
        view.findViewById<View>(R.id.thumb_undo).performClick()
        assertNull(view.grade)
        assertEquals(listOf(4, null), heard)
        assertTrue("no grade yet" in words(view))
    }

    @Test
    fun keys_move_the_cursor_enter_sets_and_digits_set_at_once() {
        val view = thumb()
        view.arcView.requestFocus()
        val key = { code: Int -> view.arcView.dispatchKeyEvent(KeyEvent(KeyEvent.ACTION_DOWN, code)) }
        repeat(3) { key(KeyEvent.KEYCODE_DPAD_RIGHT) }
        assertEquals(2, view.shown)
        assertNull(view.grade)
        key(KeyEvent.KEYCODE_DPAD_LEFT)
        key(KeyEvent.KEYCODE_ENTER)
        assertEquals(1, view.grade)
        key(KeyEvent.KEYCODE_4)
        assertEquals(4, view.grade)
        key(KeyEvent.KEYCODE_DPAD_RIGHT)
        assertEquals(4, view.shown)
        assertFalse("a 5 is no grade", key(KeyEvent.KEYCODE_5))
        assertEquals(listOf<Int?>(1, 4), heard)
    }

    @Test
    fun screen_reader_then_five_buttons_with_criteria_that_set() {
        val view = thumb("es")
        val provider = view.arcView.accessibilityNodeProvider
        val whole = provider.createAccessibilityNodeInfo(View.NO_ID)!!
        assertEquals(5, whole.childCount)
        assertEquals("android.widget.SeekBar", whole.className)
        val third = provider.createAccessibilityNodeInfo(3)!!
        assertEquals("3, pasa material. Labio cortado, roto o comido en partes; ya pasó arena.", third.text.toString())
        assertEquals("android.widget.RadioButton", third.className)
        assertFalse(third.isChecked)
        assertTrue(provider.performAction(3, AccessibilityNodeInfo.ACTION_CLICK, null))
        assertTrue(provider.createAccessibilityNodeInfo(3)!!.isChecked)
        assertEquals(listOf<Int?>(3), heard)
        assertNull(provider.createAccessibilityNodeInfo(5))
        assertFalse(provider.performAction(9, AccessibilityNodeInfo.ACTION_CLICK, null))
    }

    @Test
    fun screen_reader_steps_the_slider_and_stops_at_its_ends() {
        val view = thumb { show(Part.PLATE, "Plate", grade = 3) }
        val provider = view.arcView.accessibilityNodeProvider
        assertTrue(provider.performAction(View.NO_ID, AccessibilityNodeInfo.ACTION_SCROLL_FORWARD, null))
        assertEquals(4, view.grade)
        assertFalse(provider.performAction(View.NO_ID, AccessibilityNodeInfo.ACTION_SCROLL_FORWARD, null))
        val actions = provider.createAccessibilityNodeInfo(View.NO_ID)!!.actionList.map { it.id }
        assertFalse(AccessibilityNodeInfo.ACTION_SCROLL_FORWARD in actions)
        assertTrue(AccessibilityNodeInfo.ACTION_SCROLL_BACKWARD in actions)
    }

    @Test
    fun process_ends_then_grade_and_taking_back_are_still_there() {
        val view = thumb { show(Part.CUP, "Cup A", grade = 1) }
        view.slide(3)
        val kept = SparseArray<Parcelable>()
        view.saveHierarchyState(kept)
        val again = thumb()
        again.restoreHierarchyState(kept)
        assertEquals(3, again.grade)
        assertTrue(again.canTakeBack)
        again.findViewById<View>(R.id.thumb_undo).performClick()
        assertEquals(1, again.grade)
    }

    @Test
    fun either_hand_either_way_then_targets_of_16_mm_inside_the_arc_apart_from_each_other() {
        for (landscape in listOf(false, true)) for (left in listOf(false, true)) {
            val view = thumb(landscape = landscape) { leftHand = left }
            val pxPerMm = Look(view.context).mm(1f)
            val targets = (0..4).map(view.arcView::target)
            for (target in targets) {
                assertTrue("${target.width() / pxPerMm} mm", target.width() / pxPerMm >= 15.9 && target.height() / pxPerMm >= 15.9)
                assertTrue("$target in ${view.arcView.width} by ${view.arcView.height}", target.left >= -2 && target.top >= -2 && target.right <= view.arcView.width + 2 && target.bottom <= view.arcView.height + 2)
            }
            for ((one, next) in targets.zipWithNext()) {
                assertTrue("$one and $next", Math.hypot((one.exactCenterX() - next.exactCenterX()).toDouble(), (one.exactCenterY() - next.exactCenterY()).toDouble()) / pxPerMm >= 15.9)
            }
            if (!landscape) assertEquals(left, view.arcView.left == 0)
        }
    }

    @Test
    fun left_hand_then_the_arc_is_the_mirror_image() {
        val right = thumb()
        val left = thumb { leftHand = true }
        // The first one's window has laid it out anew meanwhile.
        layOut(right, 360, 540)
        for (grade in 0..4) {
            assertEquals(right.arcView.width - right.middle(grade).first, left.middle(grade).first, 1.5f)
            assertEquals(right.middle(grade).second, left.middle(grade).second, 1.5f)
        }
    }

    @Test
    fun every_part_and_grade_in_both_languages_sizes_and_ways_then_no_word_is_cut_and_nothing_overlaps() {
        for (language in listOf("en", "es")) for (landscape in listOf(false, true)) for (font in listOf(1f, 2f)) {
            val view = thumb(language, landscape, font = font)
            for (part in Part.entries) for (grade in listOf(null, 0, 1, 2, 3, 4)) {
                view.show(part, view.context.getString(part.nameId), grade, measured = if (grade == 2) 3 else null)
                layOutInPage(view, landscape)
                assertEquals("$language ${if (landscape) "landscape" else "portrait"} $font $part $grade", emptyList<String>(), faults(view))
            }
        }
    }

    /** As a page does: given a height, it may take more, and then the page scrolls. */
    private fun layOutInPage(view: ThumbGradeView, landscape: Boolean) {
        val density = view.resources.displayMetrics.density
        view.measure(
            View.MeasureSpec.makeMeasureSpec(((if (landscape) 640 else 360) * density).toInt(), View.MeasureSpec.EXACTLY),
            View.MeasureSpec.makeMeasureSpec(((if (landscape) 280 else 540) * density).toInt(), View.MeasureSpec.AT_MOST),
        )
        view.layout(0, 0, view.measuredWidth, view.measuredHeight)
    }

    @Test
    fun low_screen_with_large_letters_then_the_whole_arc_is_still_on_it() {
        for (language in listOf("en", "es")) {
            val view = thumb(language, landscape = true, font = 2f) { show(Part.COUPLER, "Coupler A", grade = 2, measured = 3) }
            val density = view.resources.displayMetrics.density
            view.measure(
                View.MeasureSpec.makeMeasureSpec((640 * density).toInt(), View.MeasureSpec.EXACTLY),
                View.MeasureSpec.makeMeasureSpec((200 * density).toInt(), View.MeasureSpec.AT_MOST),
            )
            view.layout(0, 0, view.measuredWidth, view.measuredHeight)
            assertTrue("the arc ends at ${view.arcView.bottom / density} dp", view.arcView.bottom <= 200 * density)
            assertEquals(emptyList<String>(), faults(view))
        }
    }

    @Test
    fun pictures_of_the_thumb_for_judging() {
        for (language in listOf("en", "es")) for (landscape in listOf(false, true)) for (font in listOf(1f, 2f)) {
            val view = thumb(language, landscape, night = language == "es" && font == 1f, font = font) { leftHand = language == "es" }
            layOutInPage(view, landscape)
            view.slide(1, 2, 3)
            layOutInPage(view, landscape)
            val picture = draw(view)
            assertTrue(inked(picture) > 0.03)
            keep(picture, "thumb-${view.context.variant()}")
            (view.parent as ViewGroup).removeAllViews()
        }
        val none = thumb()
        keep(draw(none), "thumb-none")
    }
}
