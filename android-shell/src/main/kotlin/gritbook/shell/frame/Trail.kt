package gritbook.shell.frame

import org.json.JSONArray
import org.json.JSONObject

/** A screen and what it is about. Two places with the same key share their draft. */
data class Place(val screen: String, val about: String = "") {
    val key get() = if (about.isEmpty()) screen else "$screen.$about"

    fun json() = JSONObject().put("screen", screen).put("about", about)

    companion object {
        fun of(json: JSONObject) = Place(json.getString("screen"), json.optString("about"))
    }
}

/** The screens from home to the one that is seen, kept on the disk. Main thread only. */
class Trail(private val pen: Pen, private val home: Place) {
    var places: List<Place> = listOf(home)
        private set
    private val drafts = HashMap<String, Draft>()
    private var found: Map<String, String> = emptyMap()

    val top get() = places.last()

    /** What is typed and must not lie on the disk: it outlives a turned phone and ends with the process. */
    var secret = ""

    /** What the last process left. */
    fun restore(files: Map<String, String>) {
        found = files
        val kept = files[FILE]?.let { text ->
            runCatching {
                val array = JSONArray(text)
                List(array.length()) { Place.of(array.getJSONObject(it)) }
            }.getOrNull()
        }
        places = kept?.takeIf { it.firstOrNull() == home } ?: listOf(home)
    }

    fun draft(place: Place): Draft = drafts.getOrPut(place.key) { Draft(fileOf(place), pen, found[fileOf(place)]) }

    /** Whether something was begun at [place] and not ended. */
    fun begun(place: Place) = drafts[place.key]?.let { it.json.length() > 0 } ?: found.containsKey(fileOf(place))

    fun push(place: Place) = set(places + place)

    /** Back by one; false at home. */
    fun pop(): Boolean = (places.size > 1).also { if (it) set(places.dropLast(1)) }

    fun replaceTop(place: Place) = set(places.dropLast(1) + place)

    /** The work at [place] is done or given up: its draft goes. */
    fun forget(place: Place) {
        drafts.remove(place.key)
        found = found - fileOf(place)
        pen.write(fileOf(place), null)
    }

    private fun set(next: List<Place>) {
        places = next
        pen.write(FILE, JSONArray(next.map { it.json() }).toString())
    }

    private fun fileOf(place: Place) = "draft.${place.key}.json"

    companion object {
        const val FILE = "trail.json"
    }
}
