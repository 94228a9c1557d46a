package gritbook.shell.screens.check

import android.view.ViewGroup.LayoutParams.MATCH_PARENT
import gritbook.core.Quantity
import gritbook.core.pxPerMmOfRuler
import gritbook.shell.R
import gritbook.shell.carry.Pictures
import gritbook.shell.carry.Shots
import gritbook.shell.frame.Field
import gritbook.shell.frame.Frame
import gritbook.shell.frame.Page
import gritbook.shell.frame.Place
import gritbook.shell.frame.Screen
import gritbook.shell.frame.dp
import gritbook.shell.frame.key
import gritbook.shell.frame.words
import gritbook.shell.look.photo.RulerPhotoView
import org.json.JSONArray

/** Two points on a ruler in the photo, and the length between them: a scale where there is no card. */
class RulerScreen(at: Place, frame: Frame) : Screen(at, frame) {
    private val check get() = frame.trail.draft(Place("check", at.about))
    private val photo get() = check.textOrNull("read") ?: check.list("shots").lastOrNull()
    private lateinit var seen: RulerPhotoView

    /** x and y of up to two points, px of the photo. */
    private var points: List<Double>
        get() = draft.json.optJSONArray("points")?.let { array -> List(array.length()) { array.getDouble(it) } }.orEmpty()
        set(value) = draft.put("points", JSONArray(value))

    override fun build() = Page(context, word(R.string.ruler_title), frame.prefs.now.leftHand, frame::leave).apply {
        put(context.words(word(R.string.ruler_how)))
        seen = put(RulerPhotoView(context).apply { id = R.id.seen; isSaveFromParentEnabled = false })
        seen.layoutParams.height = context.dp(260)
        seen.onPoints = { moved ->
            points = moved.map { it.toDouble() }
            draft.put("laid", JSONArray(seen.laid.toList()))
        }
        foot(Field(context, word(R.string.ruler_length, figures.unit(Quantity.LENGTH)), R.id.length, true, draft.text("length")) { draft.put("length", it) }.root)
        foot(context.key(word(R.string.ruler_use), main = true, id = R.id.save, act = ::use))
    }

    override fun arrived() {
        val name = photo ?: return frame.leave()
        away(work = { Pictures.read(Shots.file(context, name)) }) {
            seen.show(it.bitmap, it.fullWidth, it.fullHeight)
            val laid = draft.json.optJSONArray("laid")
            if (points.size == 4) seen.put(FloatArray(4) { at -> points[at].toFloat() }, laid?.optBoolean(0) == true, laid?.optBoolean(1) == true)
        }
    }

    private fun use() {
        val name = photo ?: return
        // A cross that nobody laid stands where it began and would give a confident wrong scale.
        if (!seen.laid.all { it }) return page.say(word(R.string.ruler_two))
        val at = seen.pointsPx.map { it.toDouble() }
        val length = draft.text("length")
        val units = figures
        away(work = { pxPerMmOfRuler(at[0], at[1], at[2], at[3], units.parse(Quantity.LENGTH, length)) }) { pxPerMm ->
            Ruler.set(check, name, pxPerMm)
            frame.trail.forget(this.at)
            frame.leave()
        }
    }
}
