package gritbook.shell.look

import android.content.Context
import android.graphics.Canvas
import android.graphics.Path
import android.view.View
import gritbook.core.LevelCode
import gritbook.core.ReadingFacts
import gritbook.shell.R

/** A debris level as a strip of ground: the reading's own grains beside a 5 mm bar, or the texture of a level judged by eye. */
class LevelStripView(context: Context) : View(context) {
    private val look = Look(context)
    private val ground = look.brush(look.ground)
    private val grain = look.brush(look.ink)
    private val line = look.pen(look.ink)
    private val letters = look.brush(look.ink).apply {
        textSize = look.textNote
        typeface = Look.plain
        fontFeatureSettings = Look.TABULAR
    }
    private val bar = context.getString(R.string.strip_bar)
    private val wave = Path()
    private var strip: LevelStrip? = null

    /** What a photo told; [level] is the level's name, for a screen reader. */
    fun show(reading: ReadingFacts, level: CharSequence): LevelStripView = show(LevelStrip.of(reading), level)

    /** What an eye told. */
    fun showByEye(code: LevelCode, level: CharSequence): LevelStripView =
        show(LevelStrip.byEye(code), level)

    fun show(strip: LevelStrip, level: CharSequence): LevelStripView {
        this.strip = strip
        contentDescription = when {
            strip.toScale -> context.getString(R.string.strip_says, level)
            strip.eye -> context.getString(R.string.strip_says_eye, level)
            else -> level
        }
        requestLayout()
        invalidate()
        return this
    }

    private fun barHeight() = look.textNote * 1.5f

    override fun onMeasure(widthSpec: Int, heightSpec: Int) {
        val strip = strip
        val width = resolveSize(look.dp(328f).toInt(), widthSpec)
        val own = if (strip == null) 0f else width / strip.width * strip.height + if (strip.toScale) barHeight() else 0f
        setMeasuredDimension(width, resolveSize(own.toInt(), heightSpec))
    }

    override fun onDraw(canvas: Canvas) {
        val strip = strip ?: return
        val below = if (strip.toScale) barHeight() else 0f
        val unit = minOf(width / strip.width, (height - below) / strip.height)
        val right = unit * strip.width
        val bottom = unit * strip.height
        canvas.save()
        canvas.clipRect(0f, 0f, right, bottom)
        canvas.drawRect(0f, 0f, right, bottom, ground)
        for (at in strip.discs.indices step 3) {
            canvas.drawCircle(strip.discs[at] * unit, strip.discs[at + 1] * unit, (strip.discs[at + 2] * unit).coerceAtLeast(0.5f), grain)
        }
        if (strip.film) {
            wave.rewind()
            wave.moveTo(0f, bottom * 0.66f)
            val step = right / 8
            for (at in 0 until 8) {
                val sign = if (at % 2 == 0) -1 else 1
                wave.quadTo((at + 0.5f) * step, bottom * (0.66f + sign * 0.18f), (at + 1) * step, bottom * 0.66f)
            }
            canvas.drawPath(wave, line)
        }
        canvas.restore()
        if (strip.toScale) {
            val y = bottom + below * 0.6f
            val end = LevelStrip.BAR_MM * unit
            val half = look.line / 2
            val tick = look.dp(4f)
            canvas.drawLine(half, y, end, y, line)
            canvas.drawLine(half, y - tick, half, y + tick, line)
            canvas.drawLine(end, y - tick, end, y + tick, line)
            canvas.drawText(bar, end + look.dp(8f), y + look.textNote * 0.35f, letters)
        }
    }
}
