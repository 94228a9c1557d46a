package gritbook.shell.frame

import org.json.JSONArray
import org.json.JSONObject

/** What stands on a screen: read by the screen, written to its file at every change. Main thread only. */
class Draft(private val file: String, private val pen: Pen, text: String?) {
    val json: JSONObject = text?.let { runCatching { JSONObject(it) }.getOrNull() } ?: JSONObject()

    fun edit(change: JSONObject.() -> Unit) {
        json.change()
        pen.write(file, json.toString())
    }

    fun text(key: String): String = json.optString(key, "")

    fun textOrNull(key: String): String? = if (json.isNull(key)) null else json.optString(key)

    fun put(key: String, value: Any?) = edit { put(key, value ?: JSONObject.NULL) }

    fun flagOrNull(key: String): Boolean? = if (json.isNull(key)) null else json.optBoolean(key)

    fun list(key: String): List<String> = json.optJSONArray(key)?.let { array -> List(array.length()) { array.getString(it) } }.orEmpty()

    fun putList(key: String, values: List<String>) = put(key, JSONArray(values))

    /** The choice of an enum that stands under [key]. */
    inline fun <reified E : Enum<E>> choice(key: String): E? = textOrNull(key)?.let { name -> enumValues<E>().find { it.name == name } }

    /** Done with: the file goes. */
    fun forget() = pen.write(file, null)
}
