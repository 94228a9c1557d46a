package gritbook.shell.screens.check

import gritbook.shell.frame.Draft
import org.json.JSONArray
import org.json.JSONObject

/** Photos of wear surfaces on their way into the book: part and side (see [Grades.key]) to names of shots, in the screen's draft. */
object WearShots {
    private const val KEY = "wear"

    fun of(draft: Draft, key: String): List<String> = draft.json.optJSONObject(KEY)?.optJSONArray(key)?.let(::names).orEmpty()

    fun set(draft: Draft, key: String, names: List<String>) {
        val all = draft.json.optJSONObject(KEY) ?: JSONObject()
        if (names.isEmpty()) all.remove(key) else all.put(key, JSONArray(names))
        draft.put(KEY, all)
    }

    /** Parts and sides that were photographed. */
    fun keys(draft: Draft): List<String> = draft.json.optJSONObject(KEY)?.keys()?.asSequence()?.toList().orEmpty()

    fun all(draft: Draft): List<String> = keys(draft).flatMap { of(draft, it) }

    fun drop(draft: Draft, gone: Set<String>) = keys(draft).forEach { key ->
        val names = of(draft, key)
        if (names.any(gone::contains)) set(draft, key, names - gone)
    }

    private fun names(array: JSONArray) = List(array.length()) { array.getString(it) }
}
