package gritbook.shell.look.photo

import android.content.Context
import android.graphics.Canvas
import android.graphics.Path
import android.graphics.RectF
import android.os.Bundle
import android.view.KeyEvent
import android.view.accessibility.AccessibilityNodeInfo
import android.view.accessibility.AccessibilityNodeInfo.AccessibilityAction
import gritbook.shell.R
import gritbook.shell.look.Look
import kotlin.math.hypot
import kotlin.math.sqrt

/** A grain on a photo: its outline in px of the upright photo, x and y in turn, and what is said of it. */
class GrainMark(val outlinePx: FloatArray, val words: CharSequence) {
    init {
        require(outlinePx.size % 2 == 0) { "a point without its y" }
    }

    /** Twice the signed area and nothing else of it matters here: the smaller of two that hold a point is meant. */
    val areaPx: Float = (outlinePx.indices step 2).sumOf { at ->
        val next = (at + 2) % outlinePx.size
        (outlinePx[at] * outlinePx[next + 1] - outlinePx[next] * outlinePx[at + 1]).toDouble()
    }.let { Math.abs(it / 2).toFloat() }

    val middleX = (outlinePx.indices step 2).map { outlinePx[it] }.average().toFloat()
    val middleY = (outlinePx.indices step 2).map { outlinePx[it + 1] }.average().toFloat()

    /** Even-odd rule. */
    fun holds(x: Float, y: Float): Boolean {
        var inside = false
        var last = outlinePx.size - 2
        for (at in outlinePx.indices step 2) {
            val (ax, ay) = outlinePx[at] to outlinePx[at + 1]
            val (bx, by) = outlinePx[last] to outlinePx[last + 1]
            if ((ay > y) != (by > y) && x < (bx - ax) * (y - ay) / (by - ay) + ax) inside = !inside
            last = at
        }
        return inside
    }
}

/** A photo with the outlines of its grains; a tap on one says its size. */
class OverlayPhotoView(context: Context) : PhotoPane(context) {
    /** What is outlined, in the core's order. */
    var grains: List<GrainMark> = emptyList()
        set(value) {
            field = value.filter { it.outlinePx.size >= 6 }
            outlines.rewind()
            usualAcross = field.map { 2 * sqrt(it.areaPx / Math.PI.toFloat()) }.sorted().let { if (it.isEmpty()) 0f else it[it.size / 2] }
            for (grain in field) trace(outlines, grain)
            if (chosen != null && chosen !in field.indices) chosen = null
            say()
            invalidate()
        }

    /** The grain whose size is shown; null for none. */
    var chosen: Int? = null
        private set

    /** Hears which grain was chosen. */
    var onGrain: (Int?) -> Unit = {}

    private val outlines = Path()
    private var usualAcross = 0f
    private val one = Path()
    private val halo = look.pen(look.paper)
    private val edge = look.pen(look.violet)
    private val strong = look.pen(look.violet)
    private val slip = look.brush(look.paper)
    private val slipEdge = look.pen(look.ink)
    private val letters = look.brush(look.ink).apply {
        textSize = look.textBody
        typeface = Look.bold
        fontFeatureSettings = Look.TABULAR
    }
    private val box = RectF()

    init {
        say()
    }

    private fun trace(path: Path, grain: GrainMark) {
        for (at in grain.outlinePx.indices step 2) {
            if (at == 0) path.moveTo(grain.outlinePx[at], grain.outlinePx[at + 1]) else path.lineTo(grain.outlinePx[at], grain.outlinePx[at + 1])
        }
        path.close()
    }

    private fun say() {
        val here = chosen?.let { grains[it].words }
        val whole = if (grains.isEmpty()) context.getString(R.string.photo_plain) else context.getString(R.string.photo_says, grains.size)
        contentDescription = if (here == null) whole else "$whole. $here"
    }

    /** Chooses a grain, or none, and says so. */
    fun choose(grain: Int?) {
        chosen = grain?.takeIf { it in grains.indices }
        say()
        invalidate()
        onGrain(chosen)
    }

    /** The grain at a point of the view: the smallest that holds it, else the nearest within half a thumb. */
    fun grainAt(x: Float, y: Float): Int? {
        val photoX = place.toPhotoX(x)
        val photoY = place.toPhotoY(y)
        grains.indices.filter { grains[it].holds(photoX, photoY) }.minByOrNull { grains[it].areaPx }?.let { return it }
        val reach = look.touch / 2f / place.scale
        return grains.indices.minByOrNull { hypot(grains[it].middleX - photoX, grains[it].middleY - photoY) }
            ?.takeIf { hypot(grains[it].middleX - photoX, grains[it].middleY - photoY) <= reach }
    }

    override fun tapped(x: Float, y: Float) = choose(grainAt(x, y))

    override fun drawOver(canvas: Canvas) {
        canvas.save()
        canvas.translate(place.left, place.top)
        canvas.scale(place.scale, place.scale)
        // Lines of one width whatever the scale, light below, dark above, so that they are seen on any ground; thinner where grains
        // are small on the screen: a line must not hide what it is around.
        val width = (usualAcross * place.scale * LINE).coerceIn(look.dp(0.6f), look.dp(1.5f))
        halo.strokeWidth = width * HALO / place.scale
        edge.strokeWidth = width / place.scale
        if (width > look.dp(0.8f)) canvas.drawPath(outlines, halo)
        canvas.drawPath(outlines, edge)
        val chosen = chosen?.let(grains::get)
        if (chosen != null) {
            one.rewind()
            trace(one, chosen)
            val across = 2 * sqrt(chosen.areaPx / Math.PI.toFloat()) * place.scale
            val thick = (across * LINE).coerceIn(look.dp(1.5f), look.dp(3.5f))
            halo.strokeWidth = thick * HALO / place.scale
            strong.strokeWidth = thick / place.scale
            canvas.drawPath(one, halo)
            canvas.drawPath(one, strong)
        }
        canvas.restore()
        if (chosen != null) label(canvas, chosen)
    }

    /** The size on a slip beside the grain, kept inside the view. */
    private fun label(canvas: Canvas, grain: GrainMark) {
        val words = grain.words.toString()
        val wide = letters.measureText(words) + look.dp(20f)
        val high = letters.textSize * 1.7f
        val reach = (grain.outlinePx.indices step 2).maxOf { Math.abs(grain.outlinePx[it + 1] - grain.middleY) } * place.scale + look.dp(10f)
        val x = (place.toViewX(grain.middleX) - wide / 2).coerceIn(look.line, maxOf(look.line, width - wide - look.line))
        val above = place.toViewY(grain.middleY) - reach - high
        val y = if (above >= look.line) above else (place.toViewY(grain.middleY) + reach).coerceAtMost(height - high - look.line)
        box.set(x, y, x + wide, y + high)
        canvas.drawRect(box, slip)
        canvas.drawRect(box, slipEdge)
        canvas.drawText(words, x + look.dp(10f), box.centerY() - (letters.ascent() + letters.descent()) / 2, letters)
    }

    /** The next grain, closer; for keys and a screen reader. */
    fun nextGrain() {
        if (grains.isEmpty()) return
        val next = ((chosen ?: -1) + 1) % grains.size
        place.look(grains[next].middleX, grains[next].middleY, maxOf(place.scale, place.wholeScale * CLOSER))
        choose(next)
        @Suppress("DEPRECATION")
        announceForAccessibility(grains[next].words)
    }

    override fun onKeyDown(keyCode: Int, event: KeyEvent): Boolean {
        when (keyCode) {
            KeyEvent.KEYCODE_DPAD_CENTER, KeyEvent.KEYCODE_ENTER -> nextGrain()
            KeyEvent.KEYCODE_PLUS, KeyEvent.KEYCODE_EQUALS, KeyEvent.KEYCODE_NUMPAD_ADD -> closer()
            KeyEvent.KEYCODE_MINUS, KeyEvent.KEYCODE_NUMPAD_SUBTRACT -> whole()
            else -> return super.onKeyDown(keyCode, event)
        }
        return true
    }

    override fun onInitializeAccessibilityNodeInfo(info: AccessibilityNodeInfo) {
        super.onInitializeAccessibilityNodeInfo(info)
        info.className = "android.widget.ImageView"
        if (grains.isNotEmpty()) info.addAction(AccessibilityAction(R.id.photo_next_grain, context.getString(R.string.photo_next_grain)))
        info.addAction(AccessibilityAction(R.id.photo_closer, context.getString(R.string.photo_closer)))
        if (!place.isWhole) info.addAction(AccessibilityAction(R.id.photo_whole, context.getString(R.string.photo_whole)))
    }

    override fun performAccessibilityAction(action: Int, arguments: Bundle?): Boolean {
        when (action) {
            R.id.photo_next_grain -> nextGrain()
            R.id.photo_closer -> closer()
            R.id.photo_whole -> whole()
            else -> return super.performAccessibilityAction(action, arguments)
        }
        return true
    }

    private companion object {
        /** Width of an outline against the grain's diameter. */
        const val LINE = 0.09f

        /** Width of the light line below against the dark one. */
        const val HALO = 2.2f
    }
}
