package gritbook.shell.look

import android.content.Context
import android.view.View
import android.view.ViewGroup

/**
 * Children side by side in equal columns, as many as fit their words; the rest goes on the next line. At 200 % type a row
 * of three becomes a column of three and nothing is cut.
 */
class FlowRow(context: Context, private val gap: Int = Look(context).touchGap) : ViewGroup(context) {
    private var columns = 1

    private fun shown() = (0 until childCount).map(::getChildAt).filter { it.visibility != View.GONE }

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val children = shown()
        val room = if (MeasureSpec.getMode(widthSpec) == MeasureSpec.UNSPECIFIED) Int.MAX_VALUE / 2
        else MeasureSpec.getSize(widthSpec) - paddingLeft - paddingRight
        val free = MeasureSpec.makeMeasureSpec(0, MeasureSpec.UNSPECIFIED)
        val widest = children.maxOfOrNull { least(it, free) } ?: 0
        columns = ((room + gap) / (widest + gap).coerceAtLeast(1)).coerceIn(1, children.size.coerceAtLeast(1))
        // Two lines of two look calmer than three and one.
        val lines = (children.size + columns - 1) / columns
        if (lines > 0) columns = (children.size + lines - 1) / lines
        val width = if (MeasureSpec.getMode(widthSpec) == MeasureSpec.EXACTLY) MeasureSpec.getSize(widthSpec)
        else minOf(room, columns * widest + (columns - 1) * gap) + paddingLeft + paddingRight
        val across = width - paddingLeft - paddingRight
        var height = paddingTop + paddingBottom
        children.chunked(columns).forEachIndexed { line, ofLine ->
            // A line with fewer on it shares the width among those.
            val exact = MeasureSpec.makeMeasureSpec((across - (ofLine.size - 1) * gap) / ofLine.size, MeasureSpec.EXACTLY)
            ofLine.forEach { it.measure(exact, free) }
            val tall = ofLine.maxOf { it.measuredHeight }
            ofLine.forEach { it.measure(exact, MeasureSpec.makeMeasureSpec(tall, MeasureSpec.EXACTLY)) }
            height += tall + if (line > 0) gap else 0
        }
        setMeasuredDimension(width, resolveSize(height, heightSpec))
    }

    /** The least width of a child: its longest word, where it has words, for several words may stand below one another. */
    private fun least(child: View, free: Int): Int {
        if (child is FittedButton) return child.leastWidth
        child.measure(free, free)
        return child.measuredWidth
    }

    override fun onLayout(changed: Boolean, left: Int, top: Int, right: Int, bottom: Int) {
        var y = paddingTop
        shown().chunked(columns).forEach { ofLine ->
            var x = paddingLeft
            ofLine.forEach {
                it.layout(x, y, x + it.measuredWidth, y + it.measuredHeight)
                x += it.measuredWidth + gap
            }
            y += ofLine.maxOf { it.measuredHeight } + gap
        }
    }

    override fun generateDefaultLayoutParams() = LayoutParams(LayoutParams.MATCH_PARENT, LayoutParams.WRAP_CONTENT)
}
