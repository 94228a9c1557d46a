package gritbook.shell.look.thumb

import android.content.Context
import android.os.Bundle
import android.os.Parcelable
import android.view.View
import android.view.ViewGroup
import android.widget.Button
import android.widget.TextView
import gritbook.core.Part
import gritbook.shell.R
import gritbook.shell.look.CoreWords
import gritbook.shell.look.GritRingView
import gritbook.shell.look.Kit
import gritbook.shell.look.PartDrawing
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
    private val drawing = PartDrawing(context)
    private val ring = GritRingView(context).apply { importantForAccessibility = IMPORTANT_FOR_ACCESSIBILITY_NO }
    private val name: TextView = kit.strong("")
    private val criterion: TextView = kit.body("")
    private val undoWords = context.getString(R.string.thumb_undo)
    private val undo: Button = kit.quietButton(undoWords, ::takeBack).apply { contentDescription = undoWords }
    private val undoSign = TakeBackSign(look)
    private val measuredRow = kit.row(gapSteps = 2).apply { visibility = GONE }
    private val measuredRing = GritRingView(context)
    private val measuredWords: TextView = kit.note("")

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
        val ringSide = (look.textTitle * 1.7f).toInt()
        ring.layoutParams = LayoutParams(ringSide, ringSide)
        measuredRow.addView(measuredRing, look.steps(7), look.steps(7))
        measuredRow.addView(measuredWords, android.widget.LinearLayout.LayoutParams(0, LayoutParams.WRAP_CONTENT, 1f))
        listOf(drawing, ring, name, criterion, measuredRow, undo, arcView).forEach(::addView)
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
        measuredRow.visibility = if (measured == null) GONE else VISIBLE
        if (measured != null) {
            measuredRing.show(measured, measured = true)
            measuredWords.text = context.getString(R.string.thumb_measured, measured, gradeName(measured))
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
        ring.show(grade)
        drawing.show(part, grade ?: 0)
        name.text = grade?.let { context.getString(R.string.thumb_short, it, gradeName(it)) } ?: context.getString(R.string.grade_none)
        criterion.text = grade?.let(::criterionOf) ?: context.getString(R.string.thumb_hint)
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

    // Places. The words get the height they need at any type size, the drawing what is left, never less than [LEAST_DRAWING].

    private val pad = look.steps(3)

    /** Where a low screen has no room for all of it the arc comes first: it is what the page is for, and words can be scrolled to. */
    private var arcFirst = false

    private fun lies(width: Int, height: Int) = height in 1 until arcView.leastLength && width >= arcView.leastLength

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val width = MeasureSpec.getSize(widthSpec)
        val given = if (MeasureSpec.getMode(heightSpec) == MeasureSpec.UNSPECIFIED) resources.displayMetrics.heightPixels * 4 / 5 else MeasureSpec.getSize(heightSpec)
        // A page that scrolls gives no height of its own: what counts is the screen's.
        arcView.lying = resources.displayMetrics.run { lies(width, minOf(given, heightPixels)) }
        // Beside a lying arc there is room for a sign, not for a word at 200 % type.
        undo.text = if (arcView.lying) "" else undoWords
        undo.foreground = if (arcView.lying) undoSign else null
        lyingDrawing = minOf(width * 36 / 100, given)
        val room = if (arcView.lying) width - lyingDrawing - 3 * pad else width - arcView.across - 2 * pad
        measureWords(room)
        val least = if (arcView.lying) {
            pad + maxOf(wordsHeight(), look.dp(LEAST_DRAWING).toInt()) + pad + arcView.across + pad
        } else {
            maxOf(arcView.leastLength + pad, pad * 4 + look.dp(LEAST_DRAWING).toInt() + wordsHeight() + look.touch)
        }
        arcFirst = arcView.lying && least > given
        val height = if (MeasureSpec.getMode(heightSpec) == MeasureSpec.EXACTLY) given else maxOf(least, minOf(given, resources.displayMetrics.heightPixels))
        setMeasuredDimension(width, height)
    }

    /** Width of the drawing beside the words on a low screen: a third of the width, as far as its height lets it. */
    private var lyingDrawing = 0

    private fun measureWords(room: Int) {
        val wide = { size: Int -> MeasureSpec.makeMeasureSpec(size.coerceAtLeast(0), MeasureSpec.EXACTLY) }
        val free = MeasureSpec.makeMeasureSpec(0, MeasureSpec.UNSPECIFIED)
        // At 200 % type a long name needs the ring's room; the ring under the thumb shows the same.
        val longest = name.text.split(' ').maxOf(name.paint::measureText)
        val side = if (longest > room - ring.layoutParams.width - look.steps(2)) 0 else ring.layoutParams.width
        ring.measure(wide(side), wide(side))
        name.measure(wide(if (side == 0) room else room - side - look.steps(2)), free)
        criterion.measure(wide(room), free)
        if (measuredRow.visibility != GONE) measuredRow.measure(wide(room), free)
    }

    private fun wordsHeight(): Int {
        var height = maxOf(ring.measuredHeight, name.measuredHeight) + look.steps(1) + criterion.measuredHeight
        if (measuredRow.visibility != GONE) height += look.steps(2) + measuredRow.measuredHeight
        return height
    }

    override fun onLayout(changed: Boolean, l: Int, t: Int, r: Int, b: Int) {
        val width = r - l
        val height = b - t
        if (arcView.lying) layLying(width, height) else layUpright(width, height)
    }

    private fun layUpright(width: Int, height: Int) {
        val room = width - arcView.across - 2 * pad
        val x = if (leftHand) arcView.across + pad else pad
        measureWords(room)
        val words = wordsHeight()
        val drawingHeight = (height - 4 * pad - words - look.touch).coerceIn(look.dp(LEAST_DRAWING).toInt(), room * 3 / 4 + pad)
        place(drawing, x, pad, room, drawingHeight)
        placeWords(x, pad + drawingHeight + pad, room)
        place(undo, x, height - pad - look.touch, room, look.touch)
        place(arcView, if (leftHand) 0 else width - arcView.across, pad / 2, arcView.across, height - pad)
    }

    private fun layLying(width: Int, height: Int) {
        val drawingWidth = lyingDrawing
        val room = width - drawingWidth - 3 * pad
        val top = if (arcFirst) pad else height - pad - arcView.across
        measureWords(room)
        val x = if (leftHand) 2 * pad + drawingWidth else pad
        val read = if (arcFirst) top + arcView.across + pad else pad
        placeWords(x, read, room)
        place(drawing, if (leftHand) pad else width - pad - drawingWidth, read, drawingWidth, height - arcView.across - 3 * pad)
        // The arc leaves a target's room for taking back, on the side away from the hand.
        val edge = look.steps(1)
        val long = minOf(width - look.touch - look.touchGap - 2 * edge, arcView.leastLength + 4 * look.touchGap)
        place(arcView, if (leftHand) edge else width - edge - long, top, long, arcView.across)
        val undoWidth = minOf(width - long - look.touchGap - edge - pad, look.touch * 3 / 2).coerceAtLeast(look.touch)
        place(undo, if (leftHand) width - edge - undoWidth else edge, top + arcView.across - look.touch, undoWidth, look.touch)
    }

    private fun placeWords(x: Int, top: Int, room: Int) {
        val head = maxOf(ring.measuredHeight, name.measuredHeight)
        ring.layout(x, top + (head - ring.measuredHeight) / 2, x + ring.measuredWidth, top + (head + ring.measuredHeight) / 2)
        val nameX = if (ring.measuredWidth == 0) x else x + ring.measuredWidth + look.steps(2)
        name.layout(nameX, top + (head - name.measuredHeight) / 2, nameX + name.measuredWidth, top + (head + name.measuredHeight) / 2)
        var y = top + head + look.steps(1)
        criterion.layout(x, y, x + room, y + criterion.measuredHeight)
        y += criterion.measuredHeight + look.steps(2)
        if (measuredRow.visibility != GONE) measuredRow.layout(x, y, x + room, y + measuredRow.measuredHeight)
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

        /** Height, dp. */
        const val LEAST_DRAWING = 96f
    }
}
