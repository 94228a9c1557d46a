package gritbook.shell.look.thumb

import android.content.Context
import android.os.Bundle
import android.os.Parcelable
import android.view.View
import android.view.ViewGroup
import android.widget.Button
import android.widget.ScrollView
import gritbook.core.Part
import gritbook.shell.R
import gritbook.shell.look.CoreWords
import gritbook.shell.look.Kit
import gritbook.shell.look.TakeBackSign
import gritbook.shell.look.inItsLanguage
import gritbook.shell.look.nameId

/**
 * One part to grade: drawn large, with what its grade means, and the arc under the thumb. Drawing, ring and words follow the
 * thumb; lifted, it sets; one touch takes it back.
 *
 * Upright the arc stands along the edge of the hand that holds the phone; on a low screen it lies along the foot.
 */
class ThumbGradeView(context: Context) : ViewGroup(context) {
    /** Hears each new grade; null when one was taken back to none. */
    var onGrade: (Int?) -> Unit = {}

    private val kit = Kit(context)
    private val look = kit.look
    private val reading = ThumbReading(context)
    private val scroll = ScrollView(context).apply {
        isSaveFromParentEnabled = false
        addView(reading, LayoutParams(LayoutParams.MATCH_PARENT, LayoutParams.WRAP_CONTENT))
    }
    private val undoWords = context.getString(R.string.thumb_undo)
    private val undo: Button = kit.quietButton(undoWords, ::takeBack).apply { contentDescription = undoWords }
    private val undoSign = TakeBackSign(look)

    /** A key for photographing the part; null for none. */
    var photoKey: Button? = null
        set(value) {
            field?.let(::removeView)
            field = value
            value?.let(::addView)
        }

    /** A key for another way to judge this part, above the others; null for none. */
    var moreKey: Button? = null
        set(value) {
            if (field === value) return
            field?.let(::removeView)
            field = value
            value?.let(::addView)
        }

    /** Photos of the part, among what is read; null for none. */
    var photos: View? by reading::photos

    /** The arc itself. */
    val arcView = ThumbArcView(context)

    private var part = Part.CUP
    private var called: CharSequence = ""

    /** What was there before the last touch; holds null inside for "none yet". */
    private var before: Before? = null

    private class Before(val grade: Int?)

    /** The grade that is set; null for none yet. */
    val grade: Int? get() = arcView.grade

    /** True while one touch takes the last grade back. */
    val canTakeBack: Boolean get() = before != null

    /** True where the left hand holds the phone. */
    var leftHand: Boolean
        get() = arcView.leftHand
        set(value) {
            arcView.leftHand = value
            requestLayout()
        }

    init {
        arcView.id = R.id.thumb_arc
        undo.id = R.id.thumb_undo
        listOf(scroll, undo, arcView).forEach(::addView)
        arcView.listener = object : ThumbArcView.Listener {
            override fun shows(grade: Int?) = tell(grade)

            override fun sets(grade: Int) = settle(grade)
        }
        tell(null)
        undo.visibility = INVISIBLE
    }

    /** What is graded: a kind of part, what this one is called ("Cup A"), the eye's grade so far and a measured one beside it. */
    fun show(part: Part, called: CharSequence = context.getString(part.nameId), grade: Int? = null, measured: Int? = null): ThumbGradeView {
        this.part = part
        this.called = called
        before = null
        undo.visibility = INVISIBLE
        arcView.called = context.getString(R.string.thumb_name, called)
        arcView.says = { context.getString(R.string.thumb_grade, it, gradeName(it), criterionOf(it)) }
        reading.measuredRow.visibility = if (measured == null) GONE else VISIBLE
        if (measured != null) {
            reading.measuredRing.show(measured, measured = true)
            reading.measuredWords.text = context.getString(R.string.thumb_measured, measured, gradeName(measured))
        }
        arcView.grade = grade
        was = grade
        tell(grade)
        return this
    }

    private var was: Int? = null

    private fun gradeName(grade: Int) = context.inItsLanguage(CoreWords.gradeNames[grade])

    private fun criterionOf(grade: Int) = context.inItsLanguage(CoreWords.criteria(part)[grade])

    private fun tell(grade: Int?) {
        reading.ring.show(grade)
        reading.drawing.show(part, grade ?: 0)
        reading.name.text = grade?.let { context.getString(R.string.thumb_short, it, gradeName(it)) } ?: context.getString(R.string.grade_none)
        reading.criterion.text = grade?.let(::criterionOf) ?: context.getString(R.string.thumb_hint)
    }

    private fun settle(grade: Int) {
        before = Before(was)
        was = grade
        undo.visibility = VISIBLE
        announce(context.getString(R.string.thumb_set, grade, gradeName(grade)))
        onGrade(grade)
    }

    private fun takeBack() {
        val last = before ?: return
        before = null
        was = last.grade
        arcView.grade = last.grade
        undo.visibility = INVISIBLE
        arcView.requestFocus()
        tell(last.grade)
        announce(context.getString(R.string.thumb_undone))
        onGrade(last.grade)
    }

    @Suppress("DEPRECATION")
    private fun announce(words: CharSequence) = announceForAccessibility(words)

    // Places. Arc and keys stand under the thumb at any type size; what is read takes the rest and scrolls where it needs more.

    private val pad = look.steps(3)

    /** A low screen has less to give away. */
    private val lyingPad = look.steps(2)

    /** Where a low screen has no room for all of it the arc comes first: it is what the page is for, and words can be scrolled to. */
    private var arcFirst = false

    private fun lies(width: Int, height: Int) = height in 1 until arcView.leastLength && width >= arcView.leastLength

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val width = MeasureSpec.getSize(widthSpec)
        val given = if (MeasureSpec.getMode(heightSpec) == MeasureSpec.UNSPECIFIED) resources.displayMetrics.heightPixels * 4 / 5 else MeasureSpec.getSize(heightSpec)
        // A page that scrolls gives no height of its own: what counts is the screen's.
        arcView.lying = resources.displayMetrics.run { lies(width, minOf(given, heightPixels)) }
        // Beside another key or a lying arc there is room for a sign, not for a word at 200 % type.
        val sign = arcView.lying || photoKey != null
        undo.text = if (sign) "" else undoWords
        undo.foreground = if (sign) undoSign else null
        val least = if (arcView.lying) lyingPad + leastReading() + lyingPad + arcView.across + lyingPad else maxOf(arcView.leastLength + pad, pad + leastReading() + pad + keysHeight() + pad)
        arcFirst = arcView.lying && least > given
        val height = if (MeasureSpec.getMode(heightSpec) == MeasureSpec.EXACTLY) given else maxOf(least, minOf(given, resources.displayMetrics.heightPixels))
        setMeasuredDimension(width, height)
    }

    /** Two lines, or the key beside them. */
    private fun leastReading() = maxOf((look.textTitle * 2).toInt(), look.dp(LEAST_READING).toInt(), if ((photoKey != null || moreKey != null) && arcView.lying) look.touch else 0)

    /** Upright: how far the keys reach from the far edge; the arc bends away from its last grade, so they may come close. */
    private fun keysWidth(width: Int) = width - arcView.across - look.dp(KEY_EDGE).toInt()

    private fun keysAbreast(width: Int) = keysWidth(width) >= 2 * look.touch + look.touchGap

    private fun keysHeight(): Int {
        val abreast = photoKey == null || keysAbreast(measuredWidth.takeIf { it > 0 } ?: resources.displayMetrics.widthPixels)
        val lines = (if (abreast) 1 else 2) + if (moreKey == null) 0 else 1
        return lines * look.touch + (lines - 1) * look.touchGap
    }

    override fun onLayout(changed: Boolean, l: Int, t: Int, r: Int, b: Int) {
        val width = r - l
        val height = b - t
        reading.lying = arcView.lying
        if (arcView.lying) layLying(width, height) else layUpright(width, height)
    }

    private fun layUpright(width: Int, height: Int) {
        val room = width - arcView.across - 2 * pad
        val readingHeight = height - 3 * pad - keysHeight()
        reading.room = readingHeight
        place(scroll, if (leftHand) arcView.across + pad else pad, pad, room, readingHeight)
        place(arcView, if (leftHand) 0 else width - arcView.across, pad / 2, arcView.across, height - pad)
        val key = photoKey
        val bottom = height - pad
        moreKey?.let { place(it, if (leftHand) arcView.across + pad else pad, bottom - keysHeight(), room, look.touch) }
        if (key == null) return place(undo, if (leftHand) arcView.across + pad else pad, bottom - look.touch, room, look.touch)
        val far = look.dp(KEY_EDGE).toInt()
        val wide = keysWidth(width)
        val x = if (leftHand) width - far - wide else far
        if (!keysAbreast(width)) {
            place(key, x, bottom - look.touch, wide, look.touch)
            return place(undo, x, bottom - 2 * look.touch - look.touchGap, wide, look.touch)
        }
        val one = (wide - look.touchGap) / 2
        // The camera lies next to the arc, where the thumb is.
        place(key, if (leftHand) x else x + one + look.touchGap, bottom - look.touch, one, look.touch)
        place(undo, if (leftHand) x + one + look.touchGap else x, bottom - look.touch, one, look.touch)
    }

    private fun layLying(width: Int, height: Int) {
        val top = if (arcFirst) lyingPad else height - lyingPad - arcView.across
        val read = if (arcFirst) top + arcView.across + lyingPad else lyingPad
        val readingHeight = height - arcView.across - 3 * lyingPad
        val key = photoKey
        val keys = listOfNotNull(key, moreKey)
        val one = look.touch + look.touchGap
        val beside = keys.size * one
        reading.room = readingHeight
        place(scroll, if (leftHand) pad + beside else pad, read, width - 2 * pad - beside, readingHeight)
        keys.forEachIndexed { at, it ->
            val edge = look.steps(1) + at * one
            place(it, if (leftHand) edge else width - edge - look.touch, read + (readingHeight - look.touch) / 2, look.touch, look.touch)
        }
        // The arc leaves a target's room for taking back, on the side away from the hand.
        val edge = look.steps(1)
        val long = minOf(width - look.touch - look.touchGap - 2 * edge, arcView.leastLength + 4 * look.touchGap)
        place(arcView, if (leftHand) edge else width - edge - long, top, long, arcView.across)
        val undoWidth = minOf(width - long - look.touchGap - edge - pad, look.touch * 3 / 2).coerceAtLeast(look.touch)
        place(undo, if (leftHand) width - edge - undoWidth else edge, top + arcView.across - look.touch, undoWidth, look.touch)
    }

    private fun place(view: View, x: Int, y: Int, width: Int, height: Int) {
        view.measure(MeasureSpec.makeMeasureSpec(width.coerceAtLeast(0), MeasureSpec.EXACTLY), MeasureSpec.makeMeasureSpec(height.coerceAtLeast(0), MeasureSpec.EXACTLY))
        view.layout(x, y, x + width, y + height)
    }

    // Kept through a turn of the phone and the end of the process.

    override fun onSaveInstanceState(): Parcelable = Bundle().apply {
        putParcelable("super", super.onSaveInstanceState())
        putInt("grade", grade ?: NO_GRADE)
        putBoolean("back", before != null)
        putInt("before", before?.grade ?: NO_GRADE)
    }

    override fun onRestoreInstanceState(state: Parcelable?) {
        val kept = state as? Bundle ?: return super.onRestoreInstanceState(state)
        @Suppress("DEPRECATION")
        super.onRestoreInstanceState(kept.getParcelable("super"))
        val grade = kept.getInt("grade", NO_GRADE).takeIf { it != NO_GRADE }
        arcView.grade = grade
        was = grade
        before = if (kept.getBoolean("back")) Before(kept.getInt("before").takeIf { it != NO_GRADE }) else null
        undo.visibility = if (before == null) INVISIBLE else VISIBLE
        tell(grade)
    }

    /** What the drawing shows, for tests and for a page that keeps it. */
    val shown: Int? get() = arcView.shown

    private companion object {
        const val NO_GRADE = -1

        /** Height of what is read, dp. */
        const val LEAST_READING = 48f

        /** Between the screen's edge and two keys beside the upright arc, dp: two gloves' worth fit on 360 dp. */
        const val KEY_EDGE = 6f
    }
}
