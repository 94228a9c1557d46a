package gritbook.shell.look.thumb

import android.content.Context
import android.view.View
import android.view.ViewGroup
import android.widget.LinearLayout
import android.widget.TextView
import gritbook.shell.look.GritRingView
import gritbook.shell.look.Kit
import gritbook.shell.look.PartDrawing

/**
 * What the eye reads while the thumb grades: the part's drawing, the grade with its criterion, a measured grade, photos. Beside an
 * upright arc all stands below one another; over a lying one the words stand beside drawing and photos. As high as its words need.
 */
internal class ThumbReading(context: Context) : ViewGroup(context) {
    private val kit = Kit(context)
    private val look = kit.look
    val drawing = PartDrawing(context)
    val ring = GritRingView(context).apply { importantForAccessibility = IMPORTANT_FOR_ACCESSIBILITY_NO }
    val name: TextView = kit.strong("")
    val criterion: TextView = kit.body("")
    val measuredRing = GritRingView(context)
    val measuredWords: TextView = kit.note("")
    val measuredRow = kit.row(gapSteps = 2).apply { visibility = GONE }

    /** Photos of the part; null for none. */
    var photos: View? = null
        set(value) {
            field?.let(::removeView)
            field = value
            value?.let(::addView)
        }

    /** True over a lying arc. */
    var lying = false

    /** Height that the page has for it, px: the drawing takes what the words leave. */
    var room = 0

    private val ringSide = (look.textTitle * 1.7f).toInt()
    private val pad = look.steps(3)
    private var drawingWidth = 0
    private var drawingHeight = 0

    init {
        measuredRow.addView(measuredRing, look.steps(7), look.steps(7))
        measuredRow.addView(measuredWords, LinearLayout.LayoutParams(0, LayoutParams.WRAP_CONTENT, 1f))
        listOf(drawing, ring, name, criterion, measuredRow).forEach(::addView)
    }

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val width = MeasureSpec.getSize(widthSpec)
        // A third of the width beside the words, where it stands beside them.
        drawingWidth = if (lying) width * 36 / 100 else width
        val forWords = if (lying) width - drawingWidth - pad else width
        measureWords(forWords)
        photos?.measure(exactly(drawingWidth), free)
        val photosHeight = photosHeight()
        val height = if (lying) {
            drawingHeight = minOf(drawingWidth * 3 / 4, maxOf(room - if (photosHeight > 0) photosHeight + pad else 0, look.dp(LEAST_DRAWING).toInt()))
            maxOf(wordsHeight(), drawingHeight + if (photosHeight > 0) photosHeight + pad else 0)
        } else {
            val rest = wordsHeight() + pad + if (photosHeight > 0) photosHeight + pad else 0
            drawingHeight = (room - rest).coerceIn(look.dp(LEAST_DRAWING).toInt(), width * 3 / 4 + pad)
            drawingHeight + rest
        }
        drawing.measure(exactly(drawingWidth), exactly(drawingHeight))
        setMeasuredDimension(width, height)
    }

    private val free = MeasureSpec.makeMeasureSpec(0, MeasureSpec.UNSPECIFIED)

    private fun exactly(size: Int) = MeasureSpec.makeMeasureSpec(size.coerceAtLeast(0), MeasureSpec.EXACTLY)

    private fun photosHeight() = photos?.takeIf { it.visibility != GONE }?.measuredHeight ?: 0

    private fun measureWords(width: Int) {
        // At 200 % type a long name needs the ring's room; the ring under the thumb shows the same.
        val longest = name.text.split(' ').maxOf(name.paint::measureText)
        val side = if (longest > width - ringSide - look.steps(2)) 0 else ringSide
        ring.measure(exactly(side), exactly(side))
        name.measure(exactly(if (side == 0) width else width - side - look.steps(2)), free)
        criterion.measure(exactly(width), free)
        if (measuredRow.visibility != GONE) measuredRow.measure(exactly(width), free)
    }

    private fun wordsHeight(): Int {
        var height = maxOf(ring.measuredHeight, name.measuredHeight) + look.steps(1) + criterion.measuredHeight
        if (measuredRow.visibility != GONE) height += look.steps(2) + measuredRow.measuredHeight
        return height
    }

    override fun onLayout(changed: Boolean, l: Int, t: Int, r: Int, b: Int) {
        val x = if (lying) r - l - drawingWidth else 0
        // Over a lying arc the photos, which are of this very part, come before the drawing.
        val photosFirst = lying && photosHeight() > 0
        val drawingTop = if (photosFirst) photosHeight() + pad else 0
        drawing.layout(x, drawingTop, x + drawingWidth, drawingTop + drawingHeight)
        layWords(if (lying) 0 else drawingHeight + pad)
        val photosTop = if (photosFirst) 0 else drawingHeight + pad + wordsHeight() + pad
        photos?.layout(x, photosTop, x + drawingWidth, photosTop + photosHeight())
    }

    private fun layWords(top: Int) {
        val head = maxOf(ring.measuredHeight, name.measuredHeight)
        ring.layout(0, top + (head - ring.measuredHeight) / 2, ring.measuredWidth, top + (head + ring.measuredHeight) / 2)
        val nameX = if (ring.measuredWidth == 0) 0 else ring.measuredWidth + look.steps(2)
        name.layout(nameX, top + (head - name.measuredHeight) / 2, nameX + name.measuredWidth, top + (head + name.measuredHeight) / 2)
        var y = top + head + look.steps(1)
        criterion.layout(0, y, criterion.measuredWidth, y + criterion.measuredHeight)
        y += criterion.measuredHeight + look.steps(2)
        if (measuredRow.visibility != GONE) measuredRow.layout(0, y, measuredRow.measuredWidth, y + measuredRow.measuredHeight)
    }

    private companion object {
        /** Height, dp. */
        const val LEAST_DRAWING = 96f
    }
}
