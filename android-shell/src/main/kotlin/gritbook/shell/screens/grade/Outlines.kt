package gritbook.shell.screens.grade

import gritbook.shell.frame.Draft
import org.json.JSONArray
import org.json.JSONObject

/** Outlines of wear surfaces that were drawn by hand: name of the shot to corners in px of its upright photo, x and y in turn. */
object Outlines {
    private const val KEY = "outlines"

    fun of(draft: Draft, shot: String): List<Double>? = draft.json.optJSONObject(KEY)?.optJSONArray(shot)?.let { array -> List(array.length()) { array.getDouble(it) } }

    fun set(draft: Draft, shot: String, corners: List<Double>) {
        val all = draft.json.optJSONObject(KEY) ?: JSONObject()
        draft.put(KEY, all.put(shot, JSONArray(corners)))
    }
}
