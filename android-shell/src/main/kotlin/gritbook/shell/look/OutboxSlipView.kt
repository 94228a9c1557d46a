package gritbook.shell.look

import android.content.Context
import android.graphics.Canvas
import android.graphics.Path
import android.view.View
import gritbook.shell.R

/** What waits to be sent, as slips of paper with a count on the top one; parked ones lie crosswise below. */
class OutboxSlipView(context: Context) : View(context) {
    private val look = Look(context)
    private val paper = look.brush(look.paper)
    private val line = look.pen(look.ink)
    private val crossed = look.pen(look.pencil)
    private val count = look.brush(look.ink).apply {
        textSize = look.textTitle
        typeface = Look.bold
        fontFeatureSettings = Look.TABULAR
        textAlign = android.graphics.Paint.Align.CENTER
    }
    private val path = Path()
    private var waiting = 0
    private var parked = 0

    init {
        show(0, 0)
    }

    fun show(waiting: Int, parked: Int): OutboxSlipView {
        require(waiting >= 0 && parked >= 0)
        this.waiting = waiting
        this.parked = parked
        contentDescription = says(context, waiting, parked)
        requestLayout()
        invalidate()
        return this
    }

    private fun words() = if (waiting > 999) "999+" else waiting.toString()

    private fun slipWidth() = maxOf(look.mm(9f), count.measureText(words()) + look.dp(16f))

    private fun slipHeight() = maxOf(look.mm(7f), look.textTitle * 1.4f)

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val side = maxOf(slipWidth(), slipHeight()) + look.dp(12f)
        setMeasuredDimension(resolveSize(side.toInt(), widthSpec), resolveSize(side.toInt(), heightSpec))
    }

    override fun onDraw(canvas: Canvas) {
        val x = width / 2f
        val y = height / 2f
        val half = slipWidth() / 2
        val tall = slipHeight() / 2
        if (parked > 0) {
            canvas.save()
            canvas.rotate(90f, x, y)
            slip(canvas, x, y, minOf(half, height / 2f - look.line), tall * 0.9f, crossed)
            canvas.restore()
        }
        if (waiting == 0 && parked == 0) {
            // An empty tray.
            canvas.drawLine(x - half, y + tall, x + half, y + tall, line)
            canvas.drawLine(x - half, y + tall, x - half, y + tall * 0.4f, line)
            canvas.drawLine(x + half, y + tall, x + half, y + tall * 0.4f, line)
            return
        }
        for (under in minOf(waiting - 1, 2) downTo 1) slip(canvas, x + under * look.dp(3f), y + under * look.dp(3f), half, tall, line)
        if (waiting > 0) {
            slip(canvas, x, y, half, tall, line)
            canvas.drawText(words(), x, y - (count.ascent() + count.descent()) / 2, count)
        }
    }

    private fun slip(canvas: Canvas, x: Float, y: Float, half: Float, tall: Float, edge: android.graphics.Paint) {
        val ear = look.dp(7f)
        path.rewind()
        path.moveTo(x - half, y - tall)
        path.lineTo(x + half - ear, y - tall)
        path.lineTo(x + half, y - tall + ear)
        path.lineTo(x + half, y + tall)
        path.lineTo(x - half, y + tall)
        path.close()
        canvas.drawPath(path, paper)
        canvas.drawPath(path, edge)
    }

    companion object {
        /** The same in words. */
        fun says(context: Context, waiting: Int, parked: Int): String {
            if (waiting == 0 && parked == 0) return context.getString(R.string.slip_none)
            val parts = ArrayList<String>()
            if (waiting > 0) parts += context.resources.getQuantityString(R.plurals.slip_waiting, waiting, waiting)
            if (parked > 0) parts += context.resources.getQuantityString(R.plurals.slip_parked, parked, parked)
            return parts.joinToString(", ")
        }
    }
}
