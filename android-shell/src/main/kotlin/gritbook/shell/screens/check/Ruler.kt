package gritbook.shell.screens.check

import gritbook.core.HandScale
import gritbook.shell.frame.Draft
import org.json.JSONObject

/** A scale that was set by two points on a ruler, kept with the check for its photo. */
object Ruler {
    fun scale(draft: Draft, photo: String?): HandScale? {
        val kept = draft.json.optJSONObject(KEY) ?: return null
        return if (kept.optString("photo") == photo) HandScale(kept.getDouble("px_per_mm")) else null
    }

    fun set(draft: Draft, photo: String, pxPerMm: Double) = draft.put(KEY, JSONObject().put("photo", photo).put("px_per_mm", pxPerMm))

    private const val KEY = "ruler"
}
