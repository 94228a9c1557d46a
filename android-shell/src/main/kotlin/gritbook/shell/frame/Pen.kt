package gritbook.shell.frame

import android.util.AtomicFile
import java.io.File
import java.io.FileNotFoundException
import java.io.IOException
import java.util.concurrent.Executors
import java.util.concurrent.TimeUnit

/**
 * Writes small files whole or not at all, on a thread of its own, the newest text of each only. What was typed is on the disk some
 * milliseconds after each key, whatever becomes of the process.
 */
class Pen(private val folder: File, private val told: (IOException?) -> Unit = {}) {
    private val thread = Executors.newSingleThreadExecutor { work -> Thread(work, "gritbook-pen") }
    private val waiting = LinkedHashMap<String, String?>()

    /** Why the last write failed; null once one succeeds again. */
    @Volatile
    var failure: IOException? = null
        private set

    /** [text] is what the file [name] holds from now on; null takes it away. */
    fun write(name: String, text: String?) {
        synchronized(waiting) { waiting[name] = text }
        thread.execute(::drain)
    }

    /** Reads every file, then calls [then] on the pen's own thread. */
    fun readAll(then: (Map<String, String>) -> Unit) = thread.execute { then(read()) }

    private fun read(): Map<String, String> {
        val files = folder.listFiles().orEmpty().map { File(it.path.removeSuffix(".new").removeSuffix(".bak")) }.distinct()
        return files.mapNotNull { file ->
            try {
                file.name to AtomicFile(file).readFully().decodeToString()
            } catch (_: FileNotFoundException) {
                null
            } catch (_: IOException) {
                null
            }
        }.toMap()
    }

    private fun drain() {
        while (true) {
            val (name, text) = synchronized(waiting) {
                val next = waiting.entries.firstOrNull() ?: return
                waiting.remove(next.key)
                next.key to next.value
            }
            val file = AtomicFile(File(folder, name))
            if (text == null) file.delete() else put(file, text)
        }
    }

    private fun put(file: AtomicFile, text: String) {
        folder.mkdirs()
        try {
            val stream = file.startWrite()
            try {
                stream.write(text.toByteArray())
                file.finishWrite(stream)
            } catch (error: IOException) {
                file.failWrite(stream)
                throw error
            }
            if (failure != null) told(null)
            failure = null
        } catch (error: IOException) {
            failure = error
            told(error)
        }
    }

    /** Waits until all is written; for tests and for the end of a process. */
    fun flush() {
        thread.submit {}.get(10, TimeUnit.SECONDS)
    }

    fun close() {
        thread.shutdown()
        thread.awaitTermination(10, TimeUnit.SECONDS)
    }
}
